package learning

import (
	"math"
	"testing"
)

// Holes of three quarters of an hour and less are bridged by a straight line; longer ones
// are silence.
func TestHistoryBridgesShortHoles(t *testing.T) {
	const t0 = 20_000 * dayMs
	for _, c := range []struct {
		name   string
		every  int64
		hole   [2]int64 // no readings between, after t0
		broken bool
	}{
		{"each minute", minuteMs, [2]int64{}, false},
		{"each 20 min", 20 * minuteMs, [2]int64{}, false},
		{"each 40 min", 40 * minuteMs, [2]int64{}, false},
		{"a hole of three bins", minuteMs, [2]int64{3 * hourMs, 3*hourMs + 45*minuteMs}, false},
		{"a hole of four bins", minuteMs, [2]int64{3 * hourMs, 4 * hourMs}, true},
		{"each 90 min", 90 * minuteMs, [2]int64{}, true},
	} {
		var h History
		fall := func(at int64) float64 { return 0.6 - 0.002*float64(at)/float64(HistoryBin) }
		for at := int64(0); at <= 8*hourMs; at += c.every {
			if at >= c.hole[0] && at < c.hole[1] {
				continue
			}
			h.add(t0+at, fall(at))
		}
		if got := h.broken(t0, t0+8*hourMs); got != c.broken {
			t.Errorf("%s: broken %v, want %v", c.name, got, c.broken)
		}
		for at := int64(hourMs); at < 7*hourMs; at += 7 * minuteMs {
			got, ok := h.LevelAt(t0 + at)
			if !ok && !c.broken {
				t.Errorf("%s: nothing known %d min on", c.name, at/minuteMs)
			}
			// A bin's mean is half a bin off at most where it holds one reading.
			if ok && !c.broken && math.Abs(got-fall(at)) > 0.0012 {
				t.Errorf("%s: %.4f %d min on, want %.4f", c.name, got, at/minuteMs, fall(at))
			}
		}
	}
}

// Where probes read about every quarter hour, some quarters have no reading; the balance
// is looked at all the same, and a container that holds less than was thought is found
// out before the week is over.
func TestLooksBackOnSparseReadings(t *testing.T) {
	for _, every := range []int64{minuteMs, 17 * minuteMs, 31 * minuteMs} {
		p, g := newPot(5), &grower{trigger: 0.59, ml: 400}
		c := potConstants(p)
		c.DesignCapacity = 0.68
		var z Zone
		play(p, g, &z, c, 6, every, true, true, nil)
		t.Logf("every %d min: capacity %.3f+-%.3f of %.3f, capture %.2f", every/minuteMs, z.Capacity.Mean, z.Capacity.SD(), p.capacity, z.Capture.Mean)
		if math.Abs(z.Capacity.Mean-p.capacity) > 0.012 {
			t.Errorf("every %d min: capacity %.3f, really %.3f", every/minuteMs, z.Capacity.Mean, p.capacity)
		}
	}
}
