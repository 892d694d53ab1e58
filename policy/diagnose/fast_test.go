package diagnose

import (
	"math"
	"testing"
)

// A zone's own baseline tells what it drinks, within what it may be off: far below the
// balance's rate it is the drainage of a rest that hides the fall, far above it is water
// that the balance knows nothing of.
func TestUsualUptake(t *testing.T) {
	for name, c := range map[string]struct {
		days     uint16
		off      float64 // of the baseline over the balance's rate, logarithms
		expected float64 // of what is usual, likewise
	}{
		"no baseline":                {leastDays - 1, -0.3, 0},
		"a baseline below":           {leastDays, -0.3, -0.3},
		"one of mornings that drain": {leastDays, -2.7, -0.5},
		"a baseline above":           {leastDays, 1, 1},
		"one far above":              {leastDays, 4, 1.5},
	} {
		in, base := inputs(), &Baselines{}
		in.Daytime = true
		rate := in.Learned.RateLog + math.Log(in.Learned.gain())
		base.Of[UptakeDay] = Baseline{Mean: float32(rate + c.off), Days: c.days}
		if got := math.Log(usualUptake(in, base)/drawn(in)) - rate; math.Abs(got-c.expected) > 1e-5 {
			t.Errorf("%s: off by %.3f; expected %.3f", name, got, c.expected)
		}
	}
}

// The crop's day is that of its light: in a room whose lamps stay out it drinks as by night.
func TestARoomThatStaysDark(t *testing.T) {
	base := &Baselines{}
	base.Of[UptakeDay], base.Of[UptakeNight] = Baseline{Mean: -2, Days: 10}, Baseline{Mean: -2.4, Days: 10}
	in := inputs()
	lit := usualUptake(in, base)
	in.Dark = true
	if dark := usualUptake(in, base); dark > 0.7*lit || partOf(in) != night {
		t.Errorf("usual uptake %.4f mL/s with light, %.4f in the dark, part of the day %d", lit, dark, partOf(in))
	}
}
