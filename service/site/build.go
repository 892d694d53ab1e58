package site

import (
	"fmt"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // the image holds the program alone, and sites name time zones

	"rhizostat/policy/hydraulics"
)

// builder turns the values of one file into a Site and holds against one
// another what the table of keys cannot: names that must exist, numbers that
// must agree, and physics.
type builder struct {
	*reader
	root       *value
	site       *Site
	substrates map[string]hydraulics.Substrate // sound ones of the file, and the built-in ones
	containers map[string]hydraulics.Container // sound ones
	profiles   map[pot]*hydraulics.Profile     // nil: tried and refused
	warned     map[string]bool                 // built-in substrates warned of
	checkUnit  UnitCheck
}

// pot is a container filled with a substrate, by their names.
type pot struct{ substrate, container string }

// UnitCheck says whether a signal may come in a unit; its error names the units
// that it may come in. The intake owns the table of units.
type UnitCheck func(signal, unit string) error

// build makes the site. It goes on after a mistake wherever what follows still
// means something; the caller throws the site away if there was one.
func (b *builder) build() *Site {
	b.site.Name = b.root.field("site").text
	b.place()
	b.materials()
	if c := b.root.field("climates"); c.given() {
		b.site.Climates = slices.Sorted(slices.Values(c.itemNames()))
	}
	for _, z := range b.root.field("zones").items {
		b.zone(z)
	}
	slices.SortFunc(b.site.Zones, func(x, y Zone) int { return strings.Compare(x.Settings.Zone, y.Settings.Zone) })
	for _, m := range b.root.field("telemetry").items {
		b.mapping(m)
	}
	b.doubledTopics()
	b.doubledMetrics()
	for _, o := range b.root.field("setpoint_outputs").items {
		b.output(o)
	}
	b.doubledOutputs()
	for _, d := range b.root.field("deciders").items {
		b.decider(d)
	}
	b.doubledKeys()
	slices.SortFunc(b.site.Deciders, func(x, y Decider) int { return strings.Compare(x.Name, y.Name) })
	return b.site
}

// place reads where and in which time zone the site is.
func (b *builder) place() {
	b.site.Location = time.UTC
	if v := b.root.field("time_zone"); v.given() {
		// "Local" would make the same file mean different days on two machines.
		loc, err := time.LoadLocation(v.text)
		if err != nil || v.text == "Local" {
			b.say(v, quote(v.text)+" is not a time zone", "a name of the IANA database such as Europe/Madrid, or UTC", "")
		} else {
			b.site.TimeZone, b.site.Location = v.text, loc
		}
	}
	lat, lon := b.root.field("latitude"), b.root.field("longitude")
	b.site.Latitude, b.site.Longitude = lat.number, lon.number
	switch {
	case lat.node != nil && lon.node == nil:
		b.say(lat, "it stands without longitude", "both or neither", "")
	case lon.node != nil && lat.node == nil:
		b.say(lon, "longitude stands without latitude", "both or neither", "")
	}
}

// materials reads substrates and containers.
func (b *builder) materials() {
	for _, v := range b.root.field("substrates").items {
		if s, ok := b.substrate(v); ok {
			b.substrates[s.Name] = s
		}
	}
	for _, name := range hydraulics.BuiltInNames() {
		if b.root.field("substrates").item(name) == nil {
			b.substrates[name], _ = hydraulics.BuiltIn(name)
		}
	}
	for _, v := range b.root.field("containers").items {
		if c, ok := b.container(v); ok {
			b.containers[c.Name] = c
		}
	}
}

// reference finds a name among those that a Named of the file lists, and says
// so when it is not there. It reports whether the name is there, sound or not.
func (b *builder) reference(v *value, among *value, also []string, what string) bool {
	if among.item(v.text) != nil || slices.Contains(also, v.text) || among.broken {
		return true
	}
	names := append(slices.Sorted(slices.Values(among.itemNames())), also...)
	expected, hint := "one of "+list(names), ""
	if near := nearest(v.text, names); near != "" {
		expected, hint = "", "did you mean "+near+"?"
	} else if len(names) == 0 {
		expected, hint = "", "the file has none"
	}
	b.say(v, fmt.Sprintf("there is no %s %s", what, quote(v.text)), expected, hint)
	return false
}

// list writes names for people, cut where there are many.
func list(names []string) string {
	const most = 12
	if len(names) > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most)
	}
	return strings.Join(names, ", ")
}
