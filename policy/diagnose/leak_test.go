package diagnose

import "testing"

// A container that holds several times what is believed, as after a transplant that nobody
// told of, falls by a fraction of the usual, by day as by night. No open valve does that: what
// it gives comes at all hours, and hides the little that is drunk by night first.
func TestALossInProportionIsNoLeak(t *testing.T) {
	for name, c := range map[string]struct {
		day, night float64 // of the logarithm of uptake
		leak       bool
	}{
		"in proportion":    {-2, -1.5, false},
		"nothing by night": {-0.7, -2.5, true},
		"as usual":         {0, 0, false},
		"by night alone":   {0, -2, true},
	} {
		m, at := play(3, 10, 2, map[Feature]float64{UptakeDay: c.day, UptakeNight: c.night, Peak: -0.06, Rest: -0.06, Plateau: -0.06, Drained: -0.15, WetHours: -2})
		if got := m.Baselines.lessByDay(at); got != (c.day < -leastLost) && got == c.leak {
			t.Errorf("%s: less by day is %v", name, got)
		}
		before := m.Belief.LogOdds[ValveStuckOpen]
		full(m, at, 6, func(in *Inputs) {
			in.WaterContent = 0.53
			in.Learned.Capacity, in.DesignCapacity = 0.6, 0.6
		})
		after := m.Belief.LogOdds[ValveStuckOpen]
		if !c.leak && c.day < 0 && after > max(before, 0) {
			t.Errorf("%s: the log odds of an open valve go from %.1f to %.1f", name, before, after)
		}
		if c.leak && after <= before {
			t.Errorf("%s: a zone that does not fall says nothing of an open valve: %.1f, then %.1f", name, before, after)
		}
	}
}
