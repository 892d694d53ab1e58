package learning

import (
	"math"
	"testing"
)

// Roots that fill a container's pores take its capacity with them, within days where
// they are many. What it held before must not be believed for long, or the zone is
// watered day after day towards a trigger that it cannot reach.
func TestContainerThatComesToHoldLess(t *testing.T) {
	for _, told := range []bool{true, false} {
		for _, capture := range []float64{0.95, 0.75} {
			p := newPot(78)
			p.capture = capture
			c := potConstants(p)
			var z Zone
			g := &grower{trigger: 0.58, ml: 150}
			drained, given, drunk := 0.0, 0.0, 0.0
			for hour := range 24 * 24 {
				if hour%24 == 0 {
					t.Logf("told %v day %2d: holds %.3f, believed %.3f, held %.3f, given %.0f, drunk %.0f, level %.3f", told, hour/24, p.capacity, z.Capacity.Mean, z.Rested.Held, p.given-given, p.drunk-drunk, p.level)
					given, drunk = p.given, p.drunk
				}
				if day := float64(hour) / 24; day > 12 && day < 15 {
					p.capacity -= 0.09 / 72
				}
				play(p, g, &z, c, 1./24, 5*minuteMs, true, true, nil)
				if told {
					z.Drain(c, p.at, p.spilt-drained)
					drained = p.spilt
				}
				if mod(p.at, dayMs) == 0 {
					g.trigger = z.Capacity.Mean - 0.03
				}
			}
			if off := z.Capacity.Mean - p.capacity; math.Abs(off) > 0.03 {
				t.Errorf("told %v: capacity %.3f; expected %.3f within 0.03", told, z.Capacity.Mean, p.capacity)
			}
		}
	}
}
