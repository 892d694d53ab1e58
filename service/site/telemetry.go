package site

import (
	"fmt"
	"slices"
	"strings"

	"rhizostat/policy/sensing"
)

// scope says whose a signal is.
type scope uint8

const (
	ofProbe scope = iota
	ofZone
	ofClimate
)

// scopeOf says whose each signal is: what a probe or a balance under a
// container measures, what a valve or a meter says of the zone, and the air
// and light that zones share.
func scopeOf(s sensing.Signal) scope {
	switch s {
	case sensing.WaterContent, sensing.Permittivity, sensing.BulkEC, sensing.PoreEC, sensing.SubstrateTemperature, sensing.ContainerWeight:
		return ofProbe
	case sensing.AirTemperature, sensing.RelativeHumidity, sensing.Radiation, sensing.PPFD, sensing.VapourPressureDeficit:
		return ofClimate
	}
	return ofZone
}

// mapping reads one entry of telemetry.
func (b *builder) mapping(v *value) {
	m := Mapping{Topic: v.field("topic").text, Zone: v.field("zone").text, Probe: v.field("probe").text, Climate: v.field("climate").text,
		PercentIsHundredths: v.field("percent_is_hundredths").flag}
	if !b.oneForm(v) {
		return
	}
	if v.field("sparkplug").node != nil {
		b.sparkplug(v, &m)
		return
	}
	if t := v.field("topic"); t.node == nil {
		b.say(v, "the entry has no topic", "topic with json or number, or sparkplug", "")
	} else if t.given() {
		b.topic(t)
	}
	b.owner(v, &m)
	if j := v.field("json"); j.node != nil {
		b.jsonFields(j, &m)
	} else if n := v.field("number"); n.sound() {
		f := b.signal(n, n.field("signal"), &m)
		m.Number = &f
	}
	b.site.Mappings = append(b.site.Mappings, m)
}

// oneForm checks that an entry has exactly one of json, number and sparkplug.
func (b *builder) oneForm(v *value) bool {
	var have []string
	for _, name := range []string{"json", "number", "sparkplug"} {
		if v.field(name).node != nil {
			have = append(have, name)
		}
	}
	if len(have) == 1 {
		return true
	}
	if len(have) == 0 {
		if v.sound() {
			b.say(v, "the entry says nothing of what a message carries", "one of json, number, sparkplug", "")
		}
	} else {
		b.say(v, strings.Join(have, " and ")+" stand side by side", "one of json, number, sparkplug", "write an entry for each")
	}
	return false
}

// topicLevels are the named levels of a foreign topic.
var topicLevels = []string{"{zone}", "{probe}"}

// topic checks a foreign topic: whole levels, no wildcards, each named level once.
func (b *builder) topic(v *value) {
	const shape = "levels such as plc7/{zone}/{probe}/sensor, without wildcards"
	if strings.HasPrefix(v.text, "$") {
		b.say(v, quote(v.text)+" is a topic of the broker itself", shape, "")
		return
	}
	if strings.HasPrefix(v.text, "spBv1.0/") {
		b.say(v, quote(v.text)+" is a topic of Sparkplug B", "an entry with sparkplug, which reads them", "")
		return
	}
	for _, level := range strings.Split(v.text, "/") {
		if strings.ContainsAny(level, "#+") {
			b.say(v, fmt.Sprintf("the level %s is a wildcard", quote(level)), shape, "name the level {zone} or {probe}, or write an entry for each topic")
			return
		}
	}
	b.levels(v, v.text, shape)
}

// levels checks the named levels of a topic, or of a metric's name.
func (b *builder) levels(v *value, text, shape string) {
	seen := map[string]bool{}
	for _, level := range strings.Split(text, "/") {
		switch {
		case slices.Contains(topicLevels, level):
			if seen[level] {
				b.say(v, level+" stands in it twice", shape, "")
				return
			}
			seen[level] = true
		case strings.ContainsAny(level, "{}"):
			b.say(v, fmt.Sprintf("the level %s is not a named level", quote(level)), "{zone} or {probe} as a whole level", "")
			return
		}
	}
}

// owner checks that an entry says whose its readings are, once.
func (b *builder) owner(v *value, m *Mapping) {
	b.ownerIDs(v)
	b.ownedBy(v, v, m, "topic")
}

// ownerIDs checks that what an entry names is there.
func (b *builder) ownerIDs(v *value) {
	zone, probe, climate := v.field("zone"), v.field("probe"), v.field("climate")
	if zone.given() && b.reference(zone, b.root.field("zones"), nil, "zone") && probe.given() {
		if z := b.root.field("zones").item(zone.text); z != nil && z.fields != nil {
			b.reference(probe, z.field("probes"), nil, "probe")
		}
	}
	if climate.given() {
		b.reference(climate, b.root.field("climates"), nil, "climate")
	}
}

// ownedBy checks that the levels of a topic, or of a metric's name, and the keys beside
// it say once whose the readings are; at is where it is said if they do not.
func (b *builder) ownedBy(at, v *value, m *Mapping, what string) {
	zone, probe, climate := v.field("zone"), v.field("probe"), v.field("climate")
	named := func(level string) bool { return slices.Contains(strings.Split(m.Topic, "/"), level) }
	switch {
	case climate.node != nil && (zone.node != nil || probe.node != nil || named("{zone}") || named("{probe}")):
		b.say(climate, "the entry is a climate's and a zone's at once", "climate alone, or zone and probe", "")
	case zone.node != nil && named("{zone}"):
		b.say(zone, "the zone is named by a level of the "+what+" already", "a level {zone}, or the key zone", "")
	case probe.node != nil && named("{probe}"):
		b.say(probe, "the probe is named by a level of the "+what+" already", "a level {probe}, or the key probe", "")
	case climate.node == nil && zone.node == nil && !named("{zone}") && at.sound():
		b.say(at, "the entry does not say whose its readings are", "a level {zone} in the "+what+", or zone or climate beside it", "")
	}
}

// jsonFields reads the signals of a JSON message in the order of the table.
func (b *builder) jsonFields(v *value, m *Mapping) {
	for i, f := range v.fields {
		if f == nil || !f.sound() {
			continue
		}
		b.pointer(f.field("at"))
		if i == sensing.SignalCount {
			m.Time = &TimeField{At: f.field("at").text, Unit: f.field("unit").text}
			continue
		}
		field := b.signal(f, f, m)
		field.At = f.field("at").text
		m.JSON = append(m.JSON, field)
	}
	if v.sound() && len(m.JSON) == 0 {
		b.say(v, "no signal is mapped", "at least one of "+strings.Join(signalNames, ", "), "")
	}
}

// pointer checks a JSON Pointer (RFC 6901, section 3).
func (b *builder) pointer(v *value) {
	if !strings.HasPrefix(v.text, "/") {
		b.say(v, quote(v.text)+" is not a JSON Pointer", "one that starts with / such as /ec/bulk", "")
		return
	}
	for i := range len(v.text) {
		if v.text[i] == '~' && (i+1 == len(v.text) || v.text[i+1] != '0' && v.text[i+1] != '1') {
			b.say(v, quote(v.text)+" is not a JSON Pointer: ~ stands alone", "~0 for ~ and ~1 for /", "")
			return
		}
	}
}

// signal reads a signal and its unit. v holds the unit; name is the value whose
// text or name is the signal.
func (b *builder) signal(v, name *value, m *Mapping) Field {
	id := name.text
	if name == v {
		id = v.name
	}
	s, ok := sensing.SignalByName(id)
	if !ok {
		return Field{} // the table of keys has refused it
	}
	unit := v.field("unit")
	if unit.given() && b.checkUnit != nil {
		if err := b.checkUnit(id, unit.text); err != nil {
			summary, expected, hint := clauses(err.Error())
			b.say(unit, summary, expected, hint)
		}
	}
	b.belongs(name, s, m)
	return Field{Signal: s, Unit: unit.text}
}

// belongs checks that a signal comes from the kind of source that has it.
func (b *builder) belongs(at *value, s sensing.Signal, m *Mapping) {
	probe := m.Probe != "" || strings.Contains(m.Topic, "{probe}")
	switch of := scopeOf(s); {
	case of == ofClimate && m.Climate == "":
		b.say(at, s.String()+" is a climate's signal, and the entry is a zone's", "an entry with climate", "")
	case of != ofClimate && m.Climate != "":
		b.say(at, s.String()+" is a zone's signal, and the entry is a climate's", "an entry with a level {zone} or the key zone", "")
	case of == ofProbe && !probe:
		b.say(at, s.String()+" is a probe's signal, and the entry names no probe", "a level {probe} in the "+m.levelled()+", or the key probe", "")
	}
}

// levelled is what has named levels in an entry.
func (m *Mapping) levelled() string {
	if m.Sparkplug != nil {
		return "metric's name"
	}
	return "topic"
}

// doubledTopics refuses two entries on one topic: which of the two should be
// believed is nothing that we can know.
func (b *builder) doubledTopics() {
	first := map[string]*value{}
	for _, v := range b.root.field("telemetry").items {
		t := v.field("topic")
		if !t.given() {
			continue
		}
		if f := first[t.text]; f != nil {
			b.say(t, fmt.Sprintf("the topic %s has an entry already, on line %d", quote(t.text), f.at.Line), "one entry a topic", "put the signals of both in one json")
			continue
		}
		first[t.text] = t
	}
}
