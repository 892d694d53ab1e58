package site

import (
	"fmt"
	"slices"
	"strings"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/sensing"
)

// dependents are keys of a probe that say something only beside another one.
var dependents = []struct {
	key    string
	on     string
	values []string // of on
	needed bool     // by on, when it has one of the values
}{
	{"polynomial", "calibration", []string{sensing.Polynomial}, true},
	{"points", "calibration", []string{sensing.Points}, true},
	{"input", "calibration", []string{sensing.Polynomial, sensing.Points}, false},
	{"tare_kg", "calibration", []string{sensing.Weight}, true},
	{"crop_kg", "calibration", []string{sensing.Weight}, false},
	{"hilhorst_offset", "pore_ec", []string{sensing.Hilhorst}, false},
	{"rhoades_e", "pore_ec", []string{sensing.Rhoades}, true},
	{"rhoades_f", "pore_ec", []string{sensing.Rhoades}, true},
	{"rhoades_surface_ec", "pore_ec", []string{sensing.Rhoades}, true},
	{"ec_per_kelvin", "bulk_ec_at_probe", []string{"true"}, false},
}

// reservedProbes are ids that topics use for sources that are no probes.
var reservedProbes = []string{"zone", "climate"}

// probes reads the probes of a zone, sorted by id.
func (b *builder) probes(v *value, s *policy.Settings, p *hydraulics.Profile) []policy.Probe {
	if n := len(v.items); n > policy.MaxProbes {
		b.say(v, fmt.Sprintf("the zone has %d probes", n), fmt.Sprintf("at most %d", policy.MaxProbes), "make two zones of it")
	}
	probes := make([]policy.Probe, 0, len(v.items))
	for _, item := range v.items {
		if slices.Contains(reservedProbes, item.name) {
			b.say(item, fmt.Sprintf("%s is no name for a probe: topics use it for the %s as a whole", quote(item.name), item.name), "another id", "")
		}
		probe := policy.Probe{ID: item.name, HeightCM: item.field("height_cm").number, SensingLengthCM: item.field("length_cm").number}
		probe.Calibration = b.calibration(item, s, p)
		if height := item.field("height_cm"); height.node == nil && probe.Calibration.Kind != sensing.Weight {
			b.report(item.at, Diagnostic{Path: join(item, "height_cm"), Summary: "the key is missing", Expected: height.key.expected(), Hint: "measure from the bottom of the container"})
			item.broken = true
		}
		if item.sound() && p != nil {
			b.within(item, probe, s.Container)
		}
		probes = append(probes, probe)
	}
	slices.SortFunc(probes, func(x, y policy.Probe) int { return strings.Compare(x.ID, y.ID) })
	return probes
}

// rounding is the slack of heights that were added and halved, cm.
const rounding = 1e-9

// within checks that the whole sensing part is in the fill.
func (b *builder) within(v *value, probe policy.Probe, c hydraulics.Container) {
	height := v.field("height_cm")
	low, high := probe.HeightCM-probe.SensingLengthCM/2, probe.HeightCM+probe.SensingLengthCM/2
	switch {
	case probe.HeightCM > c.HeightCM:
		b.say(height, fmt.Sprintf("%s cm is above the container's fill of %s cm", format(probe.HeightCM), format(c.HeightCM)),
			fmt.Sprintf("cm from 0 to %s", format(c.HeightCM)), "measure from the bottom of the container")
	case low < -rounding || high > c.HeightCM+rounding:
		b.say(height, fmt.Sprintf("a sensing part of %s cm around %s cm reaches from %s to %s cm, out of the fill of %s cm",
			format(probe.SensingLengthCM), format(probe.HeightCM), round(low, 2), round(high, 2), format(c.HeightCM)),
			"a sensing part that is all in the substrate", "height_cm is its middle, length_cm its vertical extent; 0 for a probe that lies flat")
	}
}

// calibration reads how a probe's signals become water content and pore EC.
func (b *builder) calibration(v *value, s *policy.Settings, p *hydraulics.Profile) sensing.Calibration {
	number := func(name string) float64 { return v.field(name).number }
	kind := v.field("calibration")
	c := sensing.Calibration{Kind: kind.text, Input: v.field("input").text, Polynomial: v.field("polynomial").numbers, Points: v.field("points").pairs,
		TareKG: number("tare_kg"), CropKG: number("crop_kg"), PoreEC: v.field("pore_ec").text, Offset: number("hilhorst_offset"),
		RhoadesE: number("rhoades_e"), RhoadesF: number("rhoades_f"), SurfaceEC: number("rhoades_surface_ec"),
		ECAtProbe: v.field("bulk_ec_at_probe").flag, ECPerKelvin: number("ec_per_kelvin")}
	b.dependents(v)
	if !v.sound() || p == nil {
		return c
	}
	switch kind.text {
	case "malicki":
		if c.BulkDensity = s.Substrate.BulkDensity; c.BulkDensity == 0 {
			b.say(kind, fmt.Sprintf("malicki needs the bulk density of the substrate %s", s.Substrate.Name), "bulk_density_g_per_cm3 of the substrate", "")
			return c
		}
	case sensing.Weight:
		c.VolumeML = p.VolumeML()
	}
	if err := c.Validate(); err != nil {
		summary, expected, hint := clauses(strings.TrimPrefix(err.Error(), "calibration: "))
		b.say(pick(v, kind, v.field("pore_ec")), summary, expected, hint)
	}
	return c
}

// dependents says of keys that stand without the one they belong to, and of
// those that are missing beside it.
func (b *builder) dependents(v *value) {
	for _, d := range dependents {
		f, on := v.field(d.key), v.field(d.on)
		applies := slices.Contains(d.values, on.text)
		switch {
		case f.node != nil && !applies:
			also := d.on + ": " + strings.Join(d.values, " or ")
			b.say(f, "it says nothing without "+also, "", "add "+also+", or leave "+d.key+" out")
		case f.node == nil && applies && d.needed:
			b.say(on, fmt.Sprintf("%s needs the key %s beside it", on.text, d.key), f.key.expected(), "")
		}
	}
}
