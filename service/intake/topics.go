package intake

import (
	"errors"
	"fmt"
	"strings"

	"rhizostat/service/wire"
)

// The named levels of a foreign topic, or of the name of a metric.
const (
	zoneLevel  = "{zone}"
	probeLevel = "{probe}"
)

// node is one level of the trie of foreign topics.
type node struct {
	literal     map[string]*node
	zone, probe *node // the named levels
	end         *end
}

// end is where a foreign topic ends: the routes that it leads to.
type end struct {
	fixed  []route          // those that name their zone or climate
	byZone map[string]route // those whose zone is a level, by its id
}

// route joins a mapping to the zone or climate that it serves.
type route struct {
	mapping *decoding
	source  source
	probes  []string // of the zone, when a level names the probe
}

// addMapping checks a mapping and hangs it into the trie.
func (r *Router) addMapping(m *Mapping) error {
	if m.Sparkplug != nil {
		return r.addMetrics(m)
	}
	d, err := newDecoding(m)
	if err != nil {
		return err
	}
	if err := checkPattern(m.Topic); err != nil {
		return err
	}
	if overlap(asFilter(m.Topic), r.root+"/"+m.Site+"/+/telemetry/+") {
		return errors.New("the topic is a native one already; expected a topic outside those; leave the entry out")
	}
	return r.hang(&r.foreign, m, d)
}

// hang hangs a mapping into a trie, where its topic leads.
func (r *Router) hang(root *node, m *Mapping, d *decoding) error {
	if m.Zone != "" && hasLevel(m.Topic, zoneLevel) || m.Probe != "" && hasLevel(m.Topic, probeLevel) ||
		m.Climate != "" && (m.Zone != "" || m.Probe != "" || hasLevel(m.Topic, zoneLevel) || hasLevel(m.Topic, probeLevel)) {
		return errors.New("the readings belong to two at once; expected a named level, or a key beside the topic, or a climate")
	}
	e := root.reach(strings.Split(m.Topic, "/"))
	switch {
	case m.Climate != "":
		c, ok := r.climates[place{m.Site, m.Climate}]
		if !ok {
			return fmt.Errorf("climate %s is not there; expected one of the site's climates", m.Climate)
		}
		e.fixed = append(e.fixed, route{mapping: d, source: source{zone: -1, climate: c, probe: Climate}})
	case m.Zone != "":
		i, ok := r.places[place{m.Site, m.Zone}]
		if !ok {
			return fmt.Errorf("zone %s is not there; expected one of the site's zones", m.Zone)
		}
		to, err := r.routeTo(i, m, d)
		if err != nil {
			return err
		}
		e.fixed = append(e.fixed, to)
	default:
		return r.routesByZone(e, m, d)
	}
	return nil
}

// routesByZone adds a route for each zone of the mapping's site.
func (r *Router) routesByZone(e *end, m *Mapping, d *decoding) error {
	if !hasLevel(m.Topic, zoneLevel) {
		return errors.New("nothing says whose the readings are; expected a level {zone}, a zone or a climate")
	}
	if e.byZone == nil {
		e.byZone = map[string]route{}
	}
	for i := range r.zones {
		z := &r.zones[i]
		if z.Site != m.Site || m.Probe != "" && probeIndex(z.Probes, m.Probe) < 0 {
			continue
		}
		if other, ok := e.byZone[z.Zone]; ok {
			return fmt.Errorf("the topic serves zone %s of site %s already; expected topics that tell the zones apart; put the site's name into the topic", z.Zone, r.zones[other.source.zone].Site)
		}
		to, err := r.routeTo(i, m, d)
		if err != nil {
			return err
		}
		e.byZone[z.Zone] = to
	}
	return nil
}

func (r *Router) routeTo(zone int, m *Mapping, d *decoding) (route, error) {
	to := route{mapping: d, source: source{zone: zone, climate: -1, probe: ZoneWide}}
	switch {
	case hasLevel(m.Topic, probeLevel):
		to.probes = r.zones[zone].Probes
	case m.Probe != "":
		if to.source.probe = probeIndex(r.zones[zone].Probes, m.Probe); to.source.probe < 0 {
			return to, fmt.Errorf("probe %s is not there; expected one of the zone's probes", m.Probe)
		}
	}
	return to, nil
}

func hasLevel(topic, level string) bool {
	for l := range strings.SplitSeq(topic, "/") {
		if l == level {
			return true
		}
	}
	return false
}

// checkPattern refuses what MQTT 3.1.1 does not allow in a topic name (section
// 4.7.3) and wildcards, which a foreign topic names instead.
func checkPattern(topic string) error {
	switch {
	case topic == "":
		return errors.New("the topic is empty; expected levels such as plc7/{zone}/{probe}/sensor")
	case len(topic) > 65535:
		return fmt.Errorf("the topic has %d bytes; expected at most 65535", len(topic))
	case wire.IsSparkplug(topic):
		return errors.New("the topic is one of Sparkplug B; expected an entry with sparkplug, which reads them")
	case strings.ContainsAny(topic, "+#\x00"):
		return errors.New("the topic has a wildcard; expected {zone} or {probe} as a whole level")
	}
	return nil
}

// reach goes down the levels of a pattern and makes what is missing.
func (n *node) reach(levels []string) *end {
	for _, level := range levels {
		var next **node
		switch level {
		case zoneLevel:
			next = &n.zone
		case probeLevel:
			next = &n.probe
		default:
			if n.literal == nil {
				n.literal = map[string]*node{}
			}
			child := n.literal[level]
			next = &child
			if child == nil {
				child = &node{}
				n.literal[level] = child
			}
		}
		if *next == nil {
			*next = &node{}
		}
		n = *next
	}
	if n.end == nil {
		n.end = &end{}
	}
	return n.end
}

// match is what a foreign topic has led to.
type match struct {
	zone, probe string  // ids that named levels hold
	fixed       []route // those of these that know the probe, or
	one         route   // this one
	reason      Reason  // why nothing was found
	where       string  // the id that is unknown
}

// find looks a topic up. A literal level goes before a named one, a named zone
// before a named probe.
func (n *node) find(topic string, m *match) bool {
	level, rest, more := strings.Cut(topic, "/")
	if next := n.literal[level]; next != nil && next.follow(rest, more, m) {
		return true
	}
	if n.zone != nil {
		was := m.zone
		m.zone = level
		if n.zone.follow(rest, more, m) {
			return true
		}
		m.zone = was
	}
	if n.probe != nil {
		was := m.probe
		m.probe = level
		if n.probe.follow(rest, more, m) {
			return true
		}
		m.probe = was
	}
	return false
}

func (n *node) follow(rest string, more bool, m *match) bool {
	if more {
		return n.find(rest, m)
	}
	return n.end != nil && n.end.take(m)
}

// take resolves the ids of the named levels.
func (e *end) take(m *match) bool {
	for i := range e.fixed {
		if _, ok := e.fixed[i].sourceOf(m.probe); ok {
			m.fixed = e.fixed
			return true
		}
		m.reason, m.where = UnknownProbe, m.probe
	}
	if e.byZone == nil {
		return false
	}
	to, ok := e.byZone[m.zone]
	if !ok {
		m.reason, m.where = UnknownZone, m.zone
		return false
	}
	if _, ok := to.sourceOf(m.probe); !ok {
		m.reason, m.where = UnknownProbe, m.probe
		return false
	}
	m.one = to
	return true
}

// sourceOf is the source of a route when the named level holds probe; false when
// its zone has no such probe.
func (to *route) sourceOf(probe string) (source, bool) {
	s := to.source
	if to.probes != nil {
		s.probe = probeIndex(to.probes, probe)
	}
	return s, s.probe >= 0 || to.probes == nil
}

// native finds the source of a native topic; a reason when it has none, "" with
// false when the topic is not a native one of telemetry.
func (r *Router) native(topic string) (s source, reason Reason, where string, ok bool) {
	p, ok := wire.Parse(r.root, topic)
	if !ok || p.Kind != wire.KindTelemetry {
		return s, "", "", false
	}
	if p.Name == climateName {
		c, known := r.climates[place{p.Site, p.Zone}]
		if !known {
			return s, r.unknown(p.Site, UnknownClimate), p.Zone, true
		}
		return source{zone: -1, climate: c, probe: Climate, hundredths: r.percent[c]}, "", "", true
	}
	i, known := r.places[place{p.Site, p.Zone}]
	if !known {
		return s, r.unknown(p.Site, UnknownZone), p.Zone, true
	}
	z := &r.zones[i]
	s = source{zone: i, climate: -1, probe: ZoneWide, hundredths: z.PercentIsHundredths}
	if p.Name != zoneName {
		if s.probe = probeIndex(z.Probes, p.Name); s.probe < 0 {
			return s, UnknownProbe, p.Name, true
		}
	}
	return s, "", "", true
}

func (r *Router) unknown(site string, reason Reason) Reason {
	if !r.sites[site] {
		return UnknownSite
	}
	return reason
}
