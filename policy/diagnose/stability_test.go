package diagnose

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"rhizostat/policy/learning"
)

// steadyDay is one day whose uptake strays by off and whose dryback is depth. It asks for the
// usual, 1 unit of demand a second.
func steadyDay(m *Memory, at int64, off, depth float64) { askingDay(m, at, 1, 0, off, depth) }

// askingDay is one that asks for some times the usual, of a crop of which ahead is known, ln of
// uptake per demand over the usual.
func askingDay(m *Memory, at int64, times, ahead, off, depth float64) {
	m.Happened(&learning.Events{Overnight: depth}, at)
	m.Steady.Asked[0] = float32(times * 86400)
	f := Features{Hours: 24, UptakeML: 1000 * times * math.Exp(off)}
	rate := math.Log(1000.0/86400) + ahead
	m.Steady.day(&f, [2]float64{rate, rate}, at)
}

// A dull spell, and a crop that grows by a tenth a day of which the balance knows the day
// before last, are predictable; a crop whose drinking jumps about is not.
func TestDullDaysAndGrowthAreNoUnsteadiness(t *testing.T) {
	for _, c := range []struct {
		name    string
		day     func(m *Memory, at int64, day int)
		recover int // days, at most
	}{
		{"dull days after bright ones", func(m *Memory, at int64, day int) { askingDay(m, at, []float64{1, 0.25}[day/3%2], 0, 0, 0.1) }, 4},
		{"growth by a tenth a day", func(m *Memory, at int64, day int) {
			askingDay(m, at, 1, 0.1*float64(day-1), 0.1*float64(day), 0.1)
		}, 6},
		{"jumps", func(m *Memory, at int64, day int) { askingDay(m, at, 1, 0, 0.5*float64(day%2), 0.1) }, 100},
	} {
		m, at, days := &Memory{}, start, 0
		for m.Disturbed(at, at); m.Recovering(at); days++ {
			at += dayMs
			c.day(m, at, days)
		}
		if days > c.recover || c.recover > mostRecovery && days < mostRecovery {
			t.Errorf("%s: recovered after %d days with an error of %.2f", c.name, days, m.Steady.Error)
		}
	}
}

func TestStabilityIndex(t *testing.T) {
	for _, c := range []struct {
		name      string
		off       float64
		depths    [2]float64
		low, high float64
	}{
		{"the same every day", 0, [2]float64{0.1, 0.1}, 0.99, 1},
		// what alternates finds the lag on the wrong foot: 0.25 w / (2 - w) more, w being the weight of a day
		{"uptake strays by a quarter: its part is a half", 0.25 / (1 + steadyWeight/(2-steadyWeight)), [2]float64{0.1, 0.1}, math.Sqrt(0.5) - 0.01, math.Sqrt(0.5) + 0.01},
		{"drybacks of 0.05 and 0.15", 0, [2]float64{0.05, 0.15}, 0.6, 0.8},
		{"nothing to go by", 0.9, [2]float64{0.02, 0.2}, 0, 0.25},
	} {
		m, at := &Memory{}, start
		for day := range 20 {
			at += dayMs
			off := c.off
			if day%2 == 0 {
				off = -off
			}
			steadyDay(m, at, off, c.depths[day%2])
		}
		if got := m.Stability(); got < c.low || got > c.high {
			t.Errorf("%s: %.3f, want %.2f to %.2f", c.name, got, c.low, c.high)
		}
	}
	if (&Memory{}).Stability() != 0 {
		t.Error("a zone that is not known is steady")
	}
}

func TestStabilityIsAShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, at := &Memory{}, start
		for range rapid.IntRange(0, 20).Draw(t, "days") {
			at += dayMs
			steadyDay(m, at, rapid.Float64Range(-5, 5).Draw(t, "off"), rapid.Float64Range(0, 0.6).Draw(t, "depth"))
			if s := m.Stability(); !(s >= 0 && s <= 1) {
				t.Fatalf("stability %g", s)
			}
		}
	})
}

// Recovery lasts until drinking is predictable, three days at least and four
// weeks at most; the trouble from before is called a relapse when it is back.
func TestRecovery(t *testing.T) {
	for _, c := range []struct {
		name      string
		restless  int // days of stray uptake
		low, high int // days
	}{{"steady at once", 0, 3, 5}, {"restless for ten days", 10, 11, 20}, {"never steady", 100, mostRecovery, mostRecovery}} {
		m, at, days := &Memory{}, start, 0
		m.Disturbed(at, at)
		for m.Recovering(at) && days < 60 {
			days++
			at += dayMs
			off := 0.02
			if days <= c.restless {
				off = 0.8
			}
			steadyDay(m, at, off, 0.1)
		}
		if days < c.low || days > c.high {
			t.Errorf("%s: recovered after %d days, want %d to %d", c.name, days, c.low, c.high)
		}
	}
	if (&Memory{}).Recovering(start) {
		t.Error("a zone that nobody disturbed recovers")
	}
}

func TestRelapse(t *testing.T) {
	moved := map[Feature]float64{Plateau: 0.12, Peak: 0.12, WetHours: 7, Drained: -0.1}
	m, at := play(1, 14, 3, moved)
	if f := m.Findings(at, words); len(f) == 0 || f[0].Cause != "oversaturation" || !says(f[0].Evidence, "roots-left-alone") || says(f[0].Evidence, "relapse") {
		t.Fatalf("first time: %+v", f)
	}
	m.Disturbed(at, at)
	if f := m.Findings(at, words); len(f) != 0 {
		t.Fatalf("a new root zone is judged by the old: %+v", f)
	}
	again, at := play(2, 14, 3, moved)
	again.Steady.CauseBefore, again.Steady.EndedMs = m.Steady.CauseBefore, at-10*dayMs
	if f := again.Findings(at, words); len(f) == 0 || !says(f[0].Evidence, "relapse") {
		t.Errorf("back again: %+v", f)
	}
	again.Steady.EndedMs = at - 100*dayMs
	if f := again.Findings(at, words); len(f) == 0 || says(f[0].Evidence, "relapse") {
		t.Errorf("three months later it is no relapse: %+v", f)
	}
}

// Uptake that grows by 5 % a day from 400 mL reaches the limit of 1000 mL in
// ln(2.5)/ln(1.05) = 18.8 days from the first, 5.8 from the fourteenth: the
// growth of compound interest.
func TestOutgrow(t *testing.T) {
	grow := func(rate float64, days int) *Memory {
		m := &Memory{}
		for d := range days {
			m.Trend.day(&Features{Hours: 24, UptakeML: 400 * math.Pow(1+rate, float64(d))})
		}
		return m
	}
	o, ok := grow(0.05, 14).Outgrow(300, 0.3)
	if !ok || math.Abs(o.Days-5.78) > 0.05 || math.Abs(o.GrowthDay-math.Log(1.05)) > 1e-6 || o.Low > o.Days || o.High < o.Days {
		t.Errorf("%+v %v", o, ok)
	}
	if o, ok := grow(0.05, 14).Outgrow(150, 0.3); !ok || o.Days != 0 {
		t.Errorf("a container that is outgrown already: %+v %v", o, ok)
	}
	if o, ok := grow(0, 14).Outgrow(300, 0.3); ok {
		t.Errorf("a crop that does not grow: %+v", o)
	}
	if o, ok := grow(0.05, 5).Outgrow(300, 0.3); ok {
		t.Errorf("five days make no trend: %+v", o)
	}
	// one wild day does not bend it
	m := grow(0.05, 14)
	m.Trend.Days[(m.Trend.Head+trendDays-3)%trendDays] += 1
	if o, ok := m.Outgrow(300, 0.3); !ok || math.Abs(o.Days-5.78) > 1.5 {
		t.Errorf("with a wild day: %+v %v", o, ok)
	}
}

func TestQuietLooksDoNotAllocate(t *testing.T) {
	m, at := known()
	in := inputs()
	if n := testing.AllocsPerRun(100, func() {
		at += 5 * 60_000
		m.Look(in, at)
	}); n != 0 {
		t.Errorf("%g allocations a look", n)
	}
}
