package service

import (
	"fmt"
	"hash/maphash"
	"slices"
	"sync/atomic"
	"time"

	"rhizostat/service/shard"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// output is an edge node or device that takes the setpoints of some zones of a site as
// Sparkplug B commands. They come from the desk when the record has them, as all that
// stands on setpoint topics does, and go out by the site's own session alone: a daemon
// that does not serve the site sends none.
//
// Commands are not retained. So they are sent when they change; to all outputs on each
// connection, with null where nothing is in force, for what was told before it may have
// ended since; and again to whatever is born.
type output struct {
	wire.SparkplugOutput
	site  int
	zones []string
	types atomic.Pointer[map[string]wire.SparkplugType] // by metric, as it declared them at its birth
}

// outputsOf are the outputs of all sites, in their order and that of their files.
func outputsOf(sites []*site.Site) []*output {
	var out []*output
	for i, st := range sites {
		for _, o := range st.Outputs {
			to := &output{SparkplugOutput: wire.SparkplugOutput{Group: o.Group, EdgeNode: o.EdgeNode, Device: o.Device}, site: i, zones: o.Zones}
			for _, m := range o.Metrics {
				to.Metrics = append(to.Metrics, wire.SparkplugSetpoint{Setpoint: m.Setpoint, Metric: m.Name})
			}
			out = append(out, to)
		}
	}
	return out
}

// oneWriter refuses two sites that write one metric: what one of them takes back would
// end what the other has in force. Within a site its file is checked for that.
func oneWriter(sites []*site.Site) error {
	first := map[metricOf]*site.Site{}
	for _, o := range outputsOf(sites) {
		st := sites[o.site]
		for _, name := range o.names() {
			m := metricOf{o.Topic(), name}
			if other := first[m]; other != nil && other.Name != st.Name {
				return fmt.Errorf("setpoint_outputs: the sites %s (%s) and %s (%s) both write the metric %q of %s; expected one site to a metric; name it after the site or the zone, or take it out of one of the files",
					other.Name, other.File, st.Name, st.File, name, m.topic)
			}
			first[m] = st
		}
	}
	return nil
}

// names are all metrics that it takes.
func (o *output) names() []string {
	var names []string
	for _, zone := range o.zones {
		for i := range o.Metrics {
			names = append(names, o.Metrics[i].Name(zone))
		}
	}
	return names
}

// declared are the data types of its metrics, nil before its birth was seen.
func (o *output) declared() map[string]wire.SparkplugType {
	if types := o.types.Load(); types != nil {
		return *types
	}
	return nil
}

// command is what an output was told last of a zone.
type command struct {
	to     *output
	hash   uint64 // of what it said
	told   bool   // it said something, be it that nothing is in force
	at     time.Time
	reborn bool      // it must be told again
	again  time.Time // it must be told again then, zero: not
}

// commandsOf are the commands of a zone, one for each output that serves it.
func (h *house) commandsOf(siteIndex int, zone string) []command {
	var out []command
	for _, o := range h.outputs {
		if o.site == siteIndex && slices.Contains(o.zones, zone) {
			out = append(out, command{to: o})
		}
	}
	return out
}

// askForBirth asks an edge node for its birth certificates, by the session of a site.
func (h *house) askForBirth(siteName, group, edgeNode string, at time.Time) {
	i := slices.IndexFunc(h.sites, func(st *site.Site) bool { return st.Name == siteName })
	topic, payload := wire.RebirthRequest(group, edgeNode, at)
	h.log.Info("edge node asked for its birth certificates", "site", siteName, "group", group, "edge_node", edgeNode)
	h.publish(i, wire.Message{Topic: topic, Payload: payload, Latest: topic + " rebirth"}, at)
}

// born has an output that was born told what is in force.
func (h *house) born(i int, types map[string]wire.SparkplugType, at time.Time) {
	o := h.outputs[i]
	o.types.Store(&types)
	for _, zone := range o.zones {
		h.control(h.zoneOf[o.site][zone], shard.Control{Kind: shard.Reborn, Topic: o.Topic(), Time: at})
	}
}

// calm is how long an output that is born again and again waits to be told what it was
// told just now (common practice, no source): one that is born of each command would
// never end.
const calm = 5 * time.Second

// reborn notes the birth of what takes commands on a topic.
func (w *worker) reborn(topic string) {
	for i := range w.commands {
		c := &w.commands[i]
		if c.to.Topic() != topic {
			continue
		}
		if since := w.now.Sub(c.at); c.told && since >= 0 && since < calm {
			c.again = c.at.Add(calm)
			continue
		}
		c.reborn, w.pending.reborn = true, true
	}
}

// commandsDue lets the time come to tell an output again.
func (w *worker) commandsDue() {
	for i := range w.commands {
		if c := &w.commands[i]; !c.again.IsZero() && !c.again.After(w.now) {
			c.reborn, c.again, w.pending.reborn = true, time.Time{}, true
		}
	}
}

// commandsNext is when that time comes next, zero: never.
func (w *worker) commandsNext() (next time.Time) {
	for i := range w.commands {
		next = sooner(next, w.commands[i].again)
	}
	return next
}

// publishCommands tells outputs the setpoints in force, where they have changed or must
// be told again.
func (w *worker) publishCommands() {
	if len(w.commands) == 0 {
		return
	}
	s, err := w.desk.Setpoint(w.now)
	if err != nil {
		w.house.log.Error("setpoints were not sent as commands", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		return
	}
	at := w.now
	if at.IsZero() { // no reading yet
		at = w.pending.heard
	}
	for i := range w.commands {
		c := &w.commands[i]
		hash := w.hashOf(c, s)
		again := w.pending.resync || c.reborn
		if !again && (c.told && hash == c.hash || !c.told && s == nil) {
			continue
		}
		w.send(w.commandOf(c.to, s, at))
		*c = command{to: c.to, hash: hash, told: true, at: at}
	}
}

func (w *worker) commandOf(o *output, s *wire.Setpoint, at time.Time) wire.Message {
	topic := o.Topic()
	return wire.Message{Topic: topic, Payload: o.Command(w.settings.Zone, s, o.declared(), at), Latest: topic + " " + w.settings.Zone}
}

// hashOf is of what a command says, whenever it is sent.
func (w *worker) hashOf(c *command, s *wire.Setpoint) uint64 {
	return maphash.Bytes(seed, c.to.Command(w.settings.Zone, s, c.to.declared(), time.Unix(0, 0)))
}

// rememberCommands takes what was told before a restart for told: a new connection
// tells it again, a replay goes on without a word.
func (w *worker) rememberCommands(at time.Time) error {
	s, err := w.desk.Setpoint(at)
	if err != nil || s == nil {
		return err
	}
	for i := range w.commands {
		w.commands[i].hash, w.commands[i].told = w.hashOf(&w.commands[i], s), true
	}
	return nil
}

// metricOf is one metric of an output.
type metricOf struct{ topic, name string }

// toldNext are the metrics that outputs take by a set of sites.
func toldNext(sites []*site.Site) map[metricOf]bool {
	told := map[metricOf]bool{}
	for _, o := range outputsOf(sites) {
		for _, name := range o.names() {
			told[metricOf{o.Topic(), name}] = true
		}
	}
	return told
}
