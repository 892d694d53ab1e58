package site

import (
	"fmt"
	"math"

	"rhizostat/policy/hydraulics"
)

// wanted is a band as the file asks for it: the zone's keys, each replaced by
// the stage's where the stage has it.
type wanted struct {
	zone, stage *value // sections of bandKeys; stage is nil for the zone's own band
}

// key finds the value that counts.
func (w wanted) key(name string) *value {
	if w.stage != nil {
		if v := w.stage.field(name); v.node != nil {
			return v
		}
	}
	return w.zone.field(name)
}

// edge finds what sets one edge of the band: its plain number, or the physics.
// A stage that has either of the two replaces both: else a zone's plain number
// would silently win over the physics that a stage asks for.
func (w wanted) edge(plain, physics string) (number, physical *value) {
	if w.stage != nil && w.stage.any(plain, physics) {
		return w.stage.field(plain), w.stage.field(physics)
	}
	return w.key(plain), w.key(physics)
}

// band reads the zone's own band.
func (b *builder) band(zone *value, p *hydraulics.Profile, a hydraulics.Aeration) hydraulics.BandSpec {
	v := zone.field("band")
	at := v
	if v.node == nil {
		at = zone
	}
	return b.edges(wanted{zone: v}, at, p, a)
}

// stageBand reads the band of a stage.
func (b *builder) stageBand(zone, stage *value, p *hydraulics.Profile, a hydraulics.Aeration) hydraulics.BandSpec {
	v := stage.field("band")
	if v.node == nil {
		return hydraulics.BandSpec{}
	}
	return b.edges(wanted{zone: zone.field("band"), stage: v}, v, p, a)
}

// edges works out what is asked and holds it against the container.
func (b *builder) edges(w wanted, at *value, p *hydraulics.Profile, a hydraulics.Aeration) hydraulics.BandSpec {
	var spec hydraulics.BandSpec
	if !w.zone.sound() || w.stage != nil && !w.stage.sound() {
		return spec
	}
	full, air := w.edge("full_point", "min_air_filled_porosity")
	refill, suction := w.edge("refill_point", "max_suction_kpa")
	spec.FullPoint, spec.RefillPoint, spec.PoreEC = full.pointer(), refill.pointer(), w.key("pore_ec").pointer()
	spec.DrainFraction = w.key("drain_fraction").number
	if spec.FullPoint == nil {
		spec.MinAirFilledPorosity = &air.number
	} else if air.node != nil {
		b.warn(air, "min_air_filled_porosity has no say beside full_point", "one of the two", "leave one out")
	}
	if spec.RefillPoint == nil {
		spec.MaxSuctionKPa = &suction.number
	} else if suction.node != nil {
		b.warn(suction, "max_suction_kpa has no say beside refill_point", "one of the two", "leave one out")
	}
	band, err := hydraulics.NewBand(p, spec)
	if err != nil {
		b.refuse(at, err)
		return spec
	}
	spec.OvernightDryback = b.dryback(w.key("overnight_dryback"), at, p, band)
	if limit := p.SaturationPoint(a); band.FullPoint > limit {
		b.warn(pick(at, full, air), fmt.Sprintf("at the full point %s the zone already counts as saturated, which begins at %s", round(band.FullPoint, 3), round(limit, 3)), "",
			"lower the full point, or say in aeration what this container tolerates")
	}
	return spec
}

// The overnight dryback where none is asked (common practice, no source): half
// of the band, so that the morning finds the zone in its middle, and no more
// than a crop drinks between its last shot and the next day's first without
// the last one being given at noon.
const (
	drybackShare   = 0.5
	largestDryback = 0.08 // m3/m3
)

func (b *builder) dryback(v, at *value, p *hydraulics.Profile, band hydraulics.Band) float64 {
	width := band.FullPoint - band.RefillPoint
	if v.node == nil {
		return math.Round(min(drybackShare*width, largestDryback)*200) / 200
	}
	switch {
	case v.number >= band.FullPoint-p.MinMean():
		b.say(v, fmt.Sprintf("a fall of %s from the full point %s cannot be: the driest that the substrate gets is %s", format(v.number), round(band.FullPoint, 3), round(p.MinMean(), 3)),
			"m3/m3 below "+round(band.FullPoint-p.MinMean(), 3), "")
	case v.number > width:
		b.warn(v, fmt.Sprintf("a fall of %s from the full point %s ends below the refill point %s", format(v.number), round(band.FullPoint, 3), round(band.RefillPoint, 3)), "",
			"nights would end outside the band: ask for less, or lower the refill point")
	}
	return v.number
}

// pick returns the first of the values that stands in the file.
func pick(fallback *value, choices ...*value) *value {
	for _, v := range choices {
		if v.node != nil {
			return v
		}
	}
	return fallback
}
