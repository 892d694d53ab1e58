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

// On a bright day after dull ones the crop drinks more than its baseline has it. Where the
// climate is told, the demand has that already; where it is not, the balance's falls of today
// have, and the water is not missing from the shots.
func TestWhatIsDrunkOnABrightDay(t *testing.T) {
	m, at := play(3, 10, 0, nil)
	in := inputs()
	for _, c := range []struct {
		lifts  float64 // of the balance's rate over the baseline
		told   bool
		expect float64
	}{{0.4, false, math.Exp(0.4)}, {0.4, true, 1}, {-0.4, false, 1}} {
		u := &m.Baselines.Of[UptakeDay]
		in.Learned.RateLog = float64(u.Mean+u.Trend) + c.lifts
		in.ClimateMs = at - 2*climateMs
		if c.told {
			in.ClimateMs = at
		}
		was := usualUptake(in, &m.Baselines)
		if got := likelyUptake(in, at, &m.Baselines) / was; math.Abs(got/c.expect-1) > 0.02 {
			t.Errorf("a rate %+.1f over the baseline, climate told %t: %.2f of what is usual; expected %.2f", c.lifts, c.told, got, c.expect)
		}
	}
}
