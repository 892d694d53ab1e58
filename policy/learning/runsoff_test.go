package learning

import (
	"math"
	"testing"
)

// A container that holds less than its site file says is found out on its first
// morning, before a day's water has run through it towards a trigger that it cannot
// reach; nobody tells its drain.
func TestWhatRunsOffTellsAFullContainer(t *testing.T) {
	for _, capacity := range []float64{0.50, 0.54, 0.57} {
		p := newPot(5)
		p.capacity, p.level, p.perDay = capacity, capacity-0.03, 1000
		p.at += 6 * hourMs
		c := potConstants(p)
		var z Zone
		g := &grower{trigger: 0.59, ml: 200}
		for range 7 { // 06:00 to 13:00
			play(p, g, &z, c, 1./24, 5*minuteMs, true, true, nil)
			g.trigger = z.Capacity.Mean - 0.03
		}
		if off := z.Capacity.Mean - capacity; math.Abs(off) > 0.04 {
			t.Errorf("capacity %.3f at 13:00, really %.3f: expected within 0.04", z.Capacity.Mean, capacity)
		}
		if p.given > 0.5*p.volume {
			t.Errorf("capacity %.2f: %.0f mL given by 13:00 into a container of %.0f mL", capacity, p.given, p.volume)
		}
	}
}

// Water runs past dry substrate as it does off a full one; the first must go on being
// watered, and its level is no capacity.
func TestDrySubstrateIsNotFull(t *testing.T) {
	for _, run := range []struct {
		level float64
		stays float64 // of what is given
	}{{0.35, 0.2}, {0.52, 0.35}} {
		p := newPot(6)
		p.level, p.capture, p.perDay = run.level, run.stays, 400
		p.at += 6 * hourMs
		c := potConstants(p)
		var z Zone
		g := &grower{trigger: 0.59, ml: 200}
		play(p, g, &z, c, 10./24, 5*minuteMs, true, true, nil)
		if z.Capacity.Mean < c.DesignCapacity-0.05 {
			t.Errorf("from %.2f up, %.0f %% staying: capacity %.3f, really %.3f", run.level, 100*run.stays, z.Capacity.Mean, p.capacity)
		}
	}
}

// Behind emitters of which a third is left little comes and the level falls; the
// container is not full.
func TestBlockedEmittersFillNothing(t *testing.T) {
	p := newPot(7)
	p.capacity, p.level, p.capture, p.perDay = 0.62, 0.60, 0.3, 1800
	p.at += 7 * hourMs
	c := potConstants(p)
	var z Zone
	play(p, &grower{trigger: 0.61, ml: 200}, &z, c, 9./24, 5*minuteMs, true, true, nil)
	if z.Capacity.Mean < c.DesignCapacity-0.02 {
		t.Errorf("capacity %.3f, really %.3f", z.Capacity.Mean, p.capacity)
	}
}
