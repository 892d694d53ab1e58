package service

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"sync/atomic"
	"time"

	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// noted is an output that may have been told setpoints, as the ledger has it. Its device
// goes on by what it was told last, and after a restart nothing else tells that it was.
type noted struct {
	Site     string                   `json:"site"`
	Group    string                   `json:"group"`
	EdgeNode string                   `json:"edge_node"`
	Device   string                   `json:"device,omitzero"`
	Metrics  []wire.SparkplugSetpoint `json:"metrics"`
	Zones    []string                 `json:"zones"`
}

// notes are the outputs of a house, each as a line of the ledger.
func (h *house) notes() ([]string, error) {
	var out []string
	for _, o := range h.outputs {
		text, err := json.Marshal(noted{h.sites[o.site].Name, o.Group, o.EdgeNode, o.Device, o.Metrics, o.zones})
		if err != nil {
			return nil, fmt.Errorf("output of %s: %w", o.Topic(), err)
		}
		out = append(out, string(text))
	}
	return out, nil
}

// formerOutputs notes the outputs of a house, before they are told anything, and gives
// those of before, which have gone or are told something else: of earlier processes by
// the ledger, and of the house before a reload also where the ledger cannot say.
func (s *Service) formerOutputs(before, h *house) []string {
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	now, err := h.notes()
	var former, known []string
	if err == nil && before != nil {
		former, err = before.notes()
	}
	if err == nil {
		known, err = s.ledger.Outputs(ctx)
	}
	if err == nil {
		err = s.ledger.AddOutputs(ctx, without(now, known))
	}
	if err != nil {
		s.Log.Warn("outputs not held against the record, until the ledger can be written: one that is taken out of its site file while the daemon is down may keep its last setpoints", "error", err)
		h.onceWritable(func() error { return s.noteOutputs(now) })
	}
	return without(append(known, without(former, known)...), now)
}

// noteOutputs notes outputs that could not be noted before.
func (s *Service) noteOutputs(now []string) error {
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	return s.ledger.AddOutputs(ctx, now)
}

// takeBack has a link take back what former outputs were told, and forgets them once it
// has.
func (s *Service) takeBack(l *link.Link, before, h *house) {
	former, messages := h.takenBack(s.formerOutputs(before, h), before)
	var left atomic.Int64
	left.Store(int64(len(messages)))
	forget := func() {
		if left.Add(-1) <= 0 {
			s.forgetOutputs(s.notInUse(former))
		}
	}
	for _, m := range messages {
		l.Command(m.site, m.Topic, m.Latest, m.Payload, forget)
	}
	if len(messages) == 0 && len(former) > 0 {
		s.forgetOutputs(former)
	}
}

// notInUse leaves out the outputs that a later reload has put back meanwhile.
func (s *Service) notInUse(former []string) []string {
	s.mu.Lock()
	h := s.house
	s.mu.Unlock()
	now, err := h.notes()
	if err != nil {
		s.Log.Warn("outputs stay on record: what they were told is taken back again at the next start", "outputs", len(former), "error", err)
		return nil
	}
	return without(former, now)
}

func (s *Service) forgetOutputs(former []string) {
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	if err := s.ledger.DropOutputs(ctx, former); err != nil {
		s.Log.Warn("outputs stay on record: what they were told is taken back again at the next start", "outputs", len(former), "error", err)
	}
}

// ofSite is a message that goes out by the session of a site.
type ofSite struct {
	site int
	wire.Message
}

// takenBack are the commands that take back what former outputs were told, of those
// metrics that take no setpoint any more; ours are the outputs that they settle. Outputs
// of sites that are not served here stay on record: another daemon may serve them.
func (h *house) takenBack(former []string, before *house) (ours []string, out []ofSite) {
	told, at := toldNext(h.sites), h.newest(before)
	for i, text := range former {
		var n noted
		if err := json.Unmarshal([]byte(text), &n); err != nil { // written by a later version
			h.log.Warn("output on record that cannot be read: it may keep its last setpoints", "output", text, "error", err)
			continue
		}
		site := slices.IndexFunc(h.topics, func(t wire.Topics) bool { return t.Site == n.Site })
		if site < 0 {
			continue
		}
		ours = append(ours, text)
		o := wire.SparkplugOutput{Group: n.Group, EdgeNode: n.EdgeNode, Device: n.Device}
		topic, types := o.Topic(), before.declared(o.Topic())
		for _, zone := range n.Zones {
			o.Metrics = slices.DeleteFunc(slices.Clone(n.Metrics), func(m wire.SparkplugSetpoint) bool {
				return told[metricOf{topic, m.Name(zone)}]
			})
			if len(o.Metrics) > 0 {
				out = append(out, ofSite{site, wire.Message{Topic: topic, Payload: o.Command(zone, nil, types, at), Latest: fmt.Sprint(topic, " ", zone, " former ", i)}})
			}
		}
	}
	return ours, out
}

// declared are the data types that what takes commands on a topic was born with, nil
// where its birth was not seen.
func (h *house) declared(topic string) map[string]wire.SparkplugType {
	if h == nil {
		return nil
	}
	for _, o := range h.outputs {
		if types := o.declared(); o.Topic() == topic && types != nil {
			return types
		}
	}
	return nil
}

// newest is the time of the zone that is furthest ahead; before the first reading, and
// in the wall clock, it is the machine's.
func (h *house) newest(before *house) time.Time {
	var at time.Time
	for _, each := range []*house{h, before} {
		if each == nil || each.settings.Clock != "telemetry" {
			continue
		}
		for _, w := range each.workers {
			if w.now.After(at) {
				at = w.now
			}
		}
	}
	if at.IsZero() {
		return time.Now().UTC()
	}
	return at
}
