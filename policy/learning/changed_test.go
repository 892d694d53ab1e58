package learning

import (
	"math"
	"testing"
)

// A new container that is watered in by several shots before its probes first speak has
// that water in its first reading: none of it is drain.
func TestWateredInBeforeTheFirstReading(t *testing.T) {
	p, g := newPot(100), &grower{trigger: 0.57, ml: 250}
	c := potConstants(p)
	var z Zone
	play(p, g, &z, c, 4, 5*minuteMs, true, true, nil)
	z.Changed(c, p.at, NewContainer)
	before, spilt := z.Account.Totals.DrainML, p.spilt
	p.level, p.capture = 0.4, 1 // dry enough to keep all
	for range 4 {
		p.run(p.at + 40*minuteMs)
		p.shot(150)
		z.Water(c, p.at, 150, true)
	}
	play(p, &grower{}, &z, c, 0.25, 5*minuteMs, true, true, nil)
	if booked := z.Account.Totals.DrainML - before; booked > p.spilt-spilt+50 {
		t.Errorf("%.0f mL are booked as drain; %.0f mL drained", booked, p.spilt-spilt)
	}
	if math.Abs(z.Level-p.level) > 0.01 {
		t.Errorf("the new container is at %.3f; it is believed at %.3f", p.level, z.Level)
	}
}

// A container and its substrate may be told one after the other, before the first reading:
// the zone stands in what was told last.
func TestTwoChangesBeforeTheFirstReading(t *testing.T) {
	p, g := newPot(100), &grower{trigger: 0.57, ml: 250}
	c := potConstants(p)
	var z Zone
	play(p, g, &z, c, 4, 5*minuteMs, true, true, nil)
	z.Changed(c, p.at, NewContainer)
	sub := *c
	sub.DesignCapacity = 0.45
	z.Changed(&sub, p.at+minuteMs, NewContainer)
	if got := z.Capacity.Mean; got != sub.DesignCapacity {
		t.Errorf("capacity %.3f after the substrate changed, too; the physics says %.3f", got, sub.DesignCapacity)
	}
}

// A climate that begins to be told in a zone that is known by its own course changes the
// unit of demand and not what the crop is believed to drink, by day or by night, but for what
// the present asks over its usual.
func TestAClimateToldLaterKeepsTheUptake(t *testing.T) {
	for _, hour := range []float64{0, 6, 12, 20} {
		p, g := newPot(100), &grower{trigger: 0.57, ml: 250}
		c := potConstants(p)
		var z Zone
		play(p, g, &z, c, 6+hour/24, 5*minuteMs, true, false, nil)
		uptake := func() (ofDay, ofNight float64) {
			var out [courseBins]float64
			z.UptakeSteps(c, p.at, binMs, out[:])
			for i, ml := range out {
				if z.isDay(c, p.at+int64(i)*binMs+binMs/2, z.Course.mean()) {
					ofDay += ml
				} else {
					ofNight += ml
				}
			}
			return ofDay, ofNight
		}
		day, night := uptake()
		z.Demand(c, p.at, usualDemand*p.demand())
		newDay, newNight := uptake()
		if math.Abs(newDay/day-1) > 0.1 || math.Abs(newNight-night) > 0.1*(day+night) {
			t.Errorf("at %.0f h: %.0f mL by day and %.0f by night expected, %.0f and %.0f before the climate was told", hour, newDay, newNight, day, night)
		}
	}
}
