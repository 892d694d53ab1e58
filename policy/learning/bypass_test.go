package learning

import (
	"math"
	"testing"
)

// Where the drier substrate lets more water run past, a container that never fills
// drains like a full one. Its capacity must not be learned down to where it is held:
// the plans would follow, the substrate dry further, and more run past.
func TestWaterThatRunsPastIsNoCapacity(t *testing.T) {
	for _, told := range []bool{true, false} {
		p := newPot(77)
		p.volume, p.capacity, p.capture, p.perDay, p.level = 9000, 0.45, 0.9, 900, 0.44
		// from nothing at capacity to two fifths of it 0.1 below
		p.past = func(level float64) float64 { return 0.4 * math.Min(math.Max((p.capacity-level)/0.1, 0), 1) }
		c := potConstants(p)
		c.DesignCapacity, c.StressMean, c.MaxMean = 0.45, 0.15, 0.7
		var z Zone
		g, drained := &grower{trigger: 0.42, ml: 180}, 0.0
		for range 30 * 24 {
			play(p, g, &z, c, 1./24, 5*minuteMs, true, true, nil)
			if told {
				z.Drain(c, p.at, p.spilt-drained)
				drained = p.spilt
			}
			if mod(p.at, dayMs) == 0 { // the plans hold the zone a little below what it is thought to hold
				g.trigger = z.Capacity.Mean - 0.03
			}
		}
		t.Logf("drain told %v: capacity %.3f, capture %.2f", told, z.Capacity.Mean, z.Capture.Mean)
		if math.Abs(z.Capacity.Mean-p.capacity) > 0.08 {
			t.Errorf("drain told %v: capacity %.3f; expected %.3f within 0.08", told, z.Capacity.Mean, p.capacity)
		}
	}
}
