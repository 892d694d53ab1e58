package site

import (
	"fmt"
	"slices"
	"strings"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/sensing"
)

// calibrations are the kinds of sensing.Calibration that a file may name.
var calibrations = []string{"topp", "ledieu", "malicki", "polynomial", "weight"}

// calibrationKeys says which keys belong to which calibration.
var calibrationKeys = []struct{ key, kind string }{
	{"polynomial", "polynomial"}, {"tare_kg", "weight"}, {"crop_kg", "weight"},
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

// calibration reads how a probe's signal becomes water content.
func (b *builder) calibration(v *value, s *policy.Settings, p *hydraulics.Profile) sensing.Calibration {
	kind := v.field("calibration")
	c := sensing.Calibration{Kind: kind.text, PoreEC: v.field("pore_ec").text, Offset: v.field("hilhorst_offset").number}
	for _, k := range calibrationKeys {
		f := v.field(k.key)
		switch {
		case f.node != nil && kind.text != k.kind:
			b.say(f, fmt.Sprintf("%s says nothing without calibration %s", k.key, k.kind), "", "add calibration: "+k.kind+", or leave "+k.key+" out")
		case f.node == nil && kind.text == k.kind && k.key != "crop_kg":
			b.say(kind, fmt.Sprintf("calibration %s has no %s", k.kind, k.key), k.key+" beside it", "")
		}
	}
	if v.field("hilhorst_offset").node != nil && c.PoreEC != "hilhorst" {
		b.say(v.field("hilhorst_offset"), "hilhorst_offset says nothing without pore_ec hilhorst", "", "add pore_ec: hilhorst, or leave it out")
	}
	c.Polynomial = v.field("polynomial").numbers
	c.TareKG, c.CropKG = v.field("tare_kg").number, v.field("crop_kg").number
	if !v.sound() || p == nil {
		return c
	}
	switch kind.text {
	case "malicki":
		if c.BulkDensity = s.Substrate.BulkDensity; c.BulkDensity == 0 {
			b.say(kind, fmt.Sprintf("calibration malicki needs the bulk density of the substrate %s", s.Substrate.Name), "bulk_density_g_per_cm3 of the substrate", "")
			return c
		}
	case "weight":
		c.VolumeML = p.VolumeML()
	}
	return c
}
