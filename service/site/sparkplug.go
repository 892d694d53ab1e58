package site

import (
	"fmt"
	"strings"
)

// sparkplug reads the metrics of an entry of telemetry.
func (b *builder) sparkplug(v *value, m *Mapping) {
	s := v.field("sparkplug")
	if t := v.field("topic"); t.node != nil {
		b.say(t, "topic stands beside sparkplug, whose topics are fixed", "sparkplug alone", "")
	}
	b.sparkplugIDs(s)
	b.ownerIDs(v)
	m.Sparkplug = &Sparkplug{Group: s.field("group").text, EdgeNode: s.field("edge_node").text, Device: s.field("device").text}
	for _, metric := range s.field("metrics").items {
		if !metric.sound() {
			continue
		}
		if metric.name == "" {
			b.say(metric, "the metric has no name", "its name as the birth certificate has it", "")
			continue
		}
		b.levels(metric, metric.name, "levels such as {zone}/{probe}/vwc")
		one := *m
		one.Topic = metric.name
		b.ownedBy(metric, v, &one, one.levelled())
		field := b.signal(metric, metric.field("signal"), &one)
		m.Sparkplug.Metrics = append(m.Sparkplug.Metrics, Metric{Name: metric.name, Field: field})
	}
	b.site.Mappings = append(b.site.Mappings, *m)
}

// sparkplugIDs checks group, edge node and device, which are levels of topics.
func (b *builder) sparkplugIDs(s *value) {
	for _, name := range []string{"group", "edge_node", "device"} {
		id := s.field(name)
		switch {
		case !id.given():
		case id.text == "":
			b.say(id, "it is empty", "the id as it stands in the topics of the edge node", "")
		case strings.ContainsAny(id.text, "+#/"):
			b.say(id, fmt.Sprintf("%s has a character that an id cannot have", quote(id.text)), "text without +, # and /", "")
		case strings.ContainsAny(id.text, "{}"):
			b.say(id, fmt.Sprintf("%s has a named level", quote(id.text)), "an id as it stands in the topics of the edge node", "write an entry for each")
		}
	}
}

// output reads an entry of setpoint_outputs.
func (b *builder) output(v *value) {
	s := v.field("sparkplug")
	if !s.sound() || s.node == nil {
		return
	}
	b.sparkplugIDs(s)
	o := Output{Group: s.field("group").text, EdgeNode: s.field("edge_node").text, Device: s.field("device").text, Zones: b.served(v)}
	taken := map[string]*value{}
	for _, m := range s.field("metrics").fields {
		if m == nil {
			continue
		}
		if other := taken[m.text]; other != nil {
			b.say(m, fmt.Sprintf("the metric %s takes %s already", quote(m.text), other.name), "a metric for each setpoint", "")
			continue
		}
		taken[m.text] = m
		b.outputName(m, len(o.Zones))
		o.Metrics = append(o.Metrics, OutputMetric{Setpoint: m.name, Name: m.text})
	}
	if len(o.Metrics) == 0 {
		b.say(s.field("metrics"), "no setpoint is mapped", "at least one of "+strings.Join(outputNames, ", "), "")
	}
	b.site.Outputs = append(b.site.Outputs, o)
}

// served are the zones whose setpoints go to an output.
func (b *builder) served(v *value) []string {
	if zones := b.named(v.field("zones"), "the output serves no zone"); zones != nil {
		return zones
	}
	return b.zoneNames()
}

// outputName checks the name of a metric that takes a setpoint of some zones.
func (b *builder) outputName(m *value, zones int) {
	bare := strings.ReplaceAll(m.text, "{zone}", "")
	switch {
	case m.text == "":
		b.say(m, "it is empty", "the name of a metric such as {zone}/shot_ml", "")
	case strings.ContainsAny(bare, "{}"):
		b.say(m, fmt.Sprintf("%s has braces around what is not zone", quote(m.text)), "{zone} for the zone's id", "")
	case bare == m.text && zones > 1:
		b.say(m, fmt.Sprintf("the metric %s would take the setpoints of %d zones", quote(m.text), zones), "a name with {zone} in it, such as {zone}/shot_ml", "or name the one zone under zones")
	}
}

// doubledMetrics refuses a metric that two entries map for the same zone, probe or
// climate.
func (b *builder) doubledMetrics() {
	first := map[string]*value{}
	for _, v := range b.root.field("telemetry").items {
		s := v.field("sparkplug")
		for _, m := range s.field("metrics").items {
			id := strings.Join([]string{s.field("group").text, s.field("edge_node").text, s.field("device").text, m.name,
				v.field("zone").text, v.field("probe").text, v.field("climate").text}, "\x00")
			if f := first[id]; f != nil {
				b.say(m, fmt.Sprintf("the metric %s has an entry already, on line %d", quote(m.name), f.at.Line), "one entry a metric", "leave one of the two out")
				continue
			}
			first[id] = m
		}
	}
}

// doubledOutputs refuses a metric that two entries write for a zone.
func (b *builder) doubledOutputs() {
	first := map[string]int{}
	for i := range b.site.Outputs {
		o := &b.site.Outputs[i]
		for _, m := range o.Metrics {
			for _, zone := range o.Zones {
				name := strings.ReplaceAll(m.Name, "{zone}", zone)
				id := strings.Join([]string{o.Group, o.EdgeNode, o.Device, name}, "\x00")
				if k, ok := first[id]; ok && k != i {
					b.say(b.root.field("setpoint_outputs").items[i], fmt.Sprintf("the metric %s takes a setpoint already, by entry %d", quote(name), k+1), "a metric for each setpoint of each zone", "")
					return
				}
				first[id] = i
			}
		}
	}
}
