package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// waterings is a day of a bucket that takes share of each watering of give m3/m3 until
// it is full, and from which the crop drinks; what probes say of it errs by noise.
func waterings(seed uint64, n int, from, share, give, full, noise float64) *Ceiling {
	r := rand.New(rand.NewPCG(seed, 3))
	c, w := &Ceiling{}, from
	for range n {
		to := math.Min(w+share*give, math.Max(full, w))
		c.take(w+noise*r.NormFloat64(), to+noise*r.NormFloat64())
		w = to - give*(0.1+0.6*r.Float64())
	}
	return c
}

// Mass balance alone: min(w + x, full) has a slope of 0 where it is full, and of 1 below,
// whatever share of the water comes.
func TestSlopeIsOfTheBucket(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		n := rapid.IntRange(6, 20).Draw(t, "n")
		share := rapid.Float64Range(0.75, 1).Draw(t, "share")
		give := rapid.Float64Range(0.01, 0.04).Draw(t, "give")
		noise := rapid.Float64Range(0, 0.001).Draw(t, "noise")
		full := rapid.Float64Range(0.3, 0.8).Draw(t, "full")
		// full: each watering finds less room than it brings
		if s, sd, ok := waterings(seed, n, full-0.5*give, share, give, full, noise).slope(noise); ok && sd < surestSlope && math.Abs(s) > 5*sd+1e-3 {
			t.Fatalf("full: slope %.3f with sd %.3f", s, sd)
		}
		// never full
		if s, sd, ok := waterings(seed, n, full-0.2, share*0.5, give/2, full+1, noise).slope(noise); ok && sd < surestSlope && math.Abs(s-1) > 5*sd+1e-3 {
			t.Fatalf("open: slope %.3f with sd %.3f", s, sd)
		}
	})
}

// Waterings that begin all alike, or are too few, tell no slope.
func TestAlikeWateringsTellNoSlope(t *testing.T) {
	c := &Ceiling{}
	for range 8 {
		c.take(0.5, 0.52)
	}
	if s, _, ok := c.slope(0.001); ok {
		t.Errorf("slope %g of waterings that begin alike", s)
	}
	two := &Ceiling{}
	two.take(0.4, 0.5)
	two.take(0.45, 0.5)
	if s, _, ok := two.slope(0); ok {
		t.Errorf("slope %g of two", s)
	}
}

// Shots that lift half, and nothing told of drain: a container that came to be full below
// what it held holds less, one that is filled no further gets less. By what shots lift
// alone the two look the same.
func TestFullContainersHoldLessOpenOnesGetLess(t *testing.T) {
	for _, c := range []struct {
		name  string
		slope float64
		right []Cause
		says  string
	}{
		{"full", 0.1, []Cause{RootBound}, "ends-alike"},
		{"open", 1, []Cause{EmitterFault, EdgeChannelling}, "ends-higher"},
	} {
		right := 0
		for seed := range uint64(10) {
			r := rand.New(rand.NewPCG(seed, 4))
			m, at := &Memory{}, start
			for day := range 17 {
				at += dayMs
				f := Features{Hours: 24, UptakeML: 900, Enough: true, Holds: 0.6}
				for _, k := range []Feature{UptakeDay, UptakeNight, Droop, Rise, Peak, Rest} {
					v := usual[k] + noise(k, r)
					if low := map[Feature]float64{Rise: -0.6, Peak: -0.07, Rest: -0.07}; day >= 14 {
						v += low[k]
					}
					f.set(k, v, 0.25*floors[k])
				}
				f.Slope, f.SlopeSD, f.Slopes = c.slope+0.05*r.NormFloat64(), 0.05, true
				m.Fast.Shots.Slope, m.Fast.Shots.SlopeMs = float32(f.Slope), at
				m.Belief.fade(at)
				m.Baselines.weigh(&f, &m.Belief, at)
			}
			m.Belief.fade(at + 21*hourMs)
			found := m.Findings(at+21*hourMs, words)
			for _, want := range c.right {
				if len(found) > 0 && found[0].Cause == want.String() && says(found[0].Evidence, c.says) {
					right++
				}
			}
			if seed == 0 {
				t.Logf("%s: %+v", c.name, found)
			}
		}
		if right < 8 {
			t.Errorf("%s: right in %d of 10", c.name, right)
		}
	}
}

// By trigger waterings end where their controller stops, however much the container holds:
// those that come so far tell of no ceiling, those that do not still do.
func TestWhereAControllerStopsIsNoCeiling(t *testing.T) {
	windows := [][2]float64{{0.40, 0.503}, {0.43, 0.504}, {0.47, 0.502}, {0.485, 0.503}, {0.45, 0.504}}
	for _, c := range []struct {
		name    string
		byClock bool
		trigger float64
		tells   bool
	}{
		{"by trigger, up to it", false, 0.49, false},
		{"by trigger, and never up to it", false, 0.52, true},
		{"by clock", true, 0.49, true},
	} {
		in, f := inputs(), &Fast{}
		in.ProbeCount = 1
		in.Probes[0] = Probe{Heard: true, Mean: 0.5, AtMs: start}
		in.Water.Trigger, in.Water.ByTrigger = c.trigger, !c.byClock
		for i, w := range windows {
			at := start + int64(i)*hourMs
			f.Recently.push(in, at-5*60_000)
			f.Recently.push(in, at)
			f.Shots.Zone, f.Shots.Level[0] = float32(w[0]), float32(w[0])
			f.Recently.Level[0][0], f.Recently.Level[1][0] = float32(w[1]), float32(w[1])
			f.judge(in, at, 300, &Belief{})
		}
		slope, _, ok := f.Shots.Ceiling.slope(leastNoise)
		if ok != c.tells || ok && slope > fullSlope {
			t.Errorf("%s: slope %.2f, known %v; want it known: %v, and of a full container", c.name, slope, ok, c.tells)
		}
	}
}
