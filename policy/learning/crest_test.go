package learning

import (
	"math"
	"testing"
)

// The peak that a night dries back from is the container's: not what a probe beside the
// emitter shows while the water spreads, nor all that was given, some of which has
// drained before the last of it is in.
func TestPeakHeldIsTheContainers(t *testing.T) {
	for name, level := range map[string]float64{"onto a full container": 0.595, "with room for it": 0.5} {
		p, g := newPot(31), &grower{trigger: 0.59, ml: 250} // fills it, so that its capacity is known
		c := potConstants(p)
		var z Zone
		play(p, g, &z, c, 12, 5*minuteMs, true, true, nil)
		start := p.at - mod(p.at, dayMs) + dayMs + 3*hourMs // by night
		for p.at < start {
			p.run(p.at + 5*minuteMs)
			p.level = math.Max(p.level, level+0.002)
			z.Demand(c, p.at, usualDemand*p.demand())
			z.Observe(c, p.at, p.reading(), p.noise)
		}
		p.level = level
		z.Observe(c, p.at, p.reading(), p.noise)
		const ml, minutes = 500.0, 15
		z.Water(c, p.at, ml, true)
		peak := 0.0
		for i := range 180 {
			if i < minutes {
				p.shot(ml / minutes)
			}
			p.run(p.at + minuteMs)
			peak = math.Max(peak, p.level)
			over := 0.04 * math.Exp(-math.Max(0, float64(i-minutes))/8) // beside the emitter
			z.Demand(c, p.at, usualDemand*p.demand())
			z.Observe(c, p.at, p.reading()+over, p.noise)
		}
		held := z.Shots.LastHeld
		t.Logf("%s: held %.4f where the container came to %.4f, capacity %.4f, capture %.2f, gain %.2f, drains in %.0f s", name, held, peak, z.Capacity.Mean, z.Capture.Mean, z.Gain.Mean, math.Exp(z.DrainLog.Mean))
		if math.Abs(held-peak) > 0.008 {
			t.Errorf("%s: a peak of %.4f is held; the container came to %.4f and the probe showed %.4f", name, held, peak, z.Shots.LastPeak)
		}
	}
}
