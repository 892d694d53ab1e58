package sensing

import (
	"math/rand/v2"
	"testing"
)

// Healthy zones of many kinds: no probe is ever called ill.
func TestHealthyProbesStayOK(t *testing.T) {
	alarms, readings := 0, 0
	for _, probes := range []int{1, 2, 3, 5} {
		for _, every := range []int64{minuteMs, 5 * minuteMs, 15 * minuteMs} {
			for seed := range uint64(3) {
				z := newTrialZone(seed*31+uint64(probes)+900, probes, every)
				var p Panel
				var last [MaxProbes]Health
				z.run(10*dayMs, func(i int, at int64, r float64) {
					readings++
					h := p.Observe(i, at, r, r, Zone{WaterMs: z.reported()})
					if h != OK && last[i] == OK {
						alarms++
						t.Errorf("%d probes every %d s, seed %d: probe %d is %v on day %.2f (%+v)",
							probes, every/1000, seed, i, h, float64(at-trialStartMs)/float64(dayMs), z.probes[i])
					}
					last[i] = h
				}, nil)
			}
		}
	}
	t.Logf("%d alarms in %d readings of 36 healthy zones", alarms, readings)
}

// fault is an illness that a trial gives to probe 0.
type fault struct {
	name   string
	make   func(rng *rand.Rand) func(sinceMs int64, reading float64) (float64, bool)
	states []Health // any of these is right
	within int64    // ms, of the slowest seed
	probes int      // how many the zone has
	every  int64
}

func shifted(by float64) func(*rand.Rand) func(int64, float64) (float64, bool) {
	return func(*rand.Rand) func(int64, float64) (float64, bool) {
		return func(_ int64, r float64) (float64, bool) { return r + by, true }
	}
}

func drifting(perDay float64) func(*rand.Rand) func(int64, float64) (float64, bool) {
	return func(*rand.Rand) func(int64, float64) (float64, bool) {
		return func(since int64, r float64) (float64, bool) {
			return r + perDay*float64(since)/float64(dayMs), true
		}
	}
}

func noisy(sd float64) func(*rand.Rand) func(int64, float64) (float64, bool) {
	return func(rng *rand.Rand) func(int64, float64) (float64, bool) {
		return func(_ int64, r float64) (float64, bool) { return r + sd*rng.NormFloat64(), true }
	}
}

func frozen(jitter float64) func(*rand.Rand) func(int64, float64) (float64, bool) {
	return func(rng *rand.Rand) func(int64, float64) (float64, bool) {
		held := -1.0
		return func(_ int64, r float64) (float64, bool) {
			if held < 0 {
				held = r
			}
			return held + jitter*rng.NormFloat64(), true
		}
	}
}

func silent(*rand.Rand) func(int64, float64) (float64, bool) {
	return func(int64, float64) (float64, bool) { return 0, false }
}

func trialFaults() []fault {
	var all []fault
	for _, n := range []int{1, 2, 3} {
		all = append(all,
			fault{"frozen", frozen(0), []Health{Stuck}, 24 * hourMs, n, minuteMs},
			fault{"frozen", frozen(0), []Health{Stuck}, 48 * hourMs, n, 15 * minuteMs},
			fault{"silent", silent, []Health{Stale}, 10 * minuteMs, n, minuteMs},
			fault{"silent", silent, []Health{Stale}, 60 * minuteMs, n, 15 * minuteMs},
			fault{"falls by 0.1", shifted(-0.1), []Health{Jumping}, 2 * minuteMs, n, minuteMs},
			fault{"falls by 0.1", shifted(-0.1), []Health{Jumping}, 16 * minuteMs, n, 15 * minuteMs},
			fault{"noise of 0.1", noisy(0.1), []Health{Jumping}, 20 * minuteMs, n, minuteMs},
			fault{"noise of 0.1", noisy(0.1), []Health{Jumping}, 3 * hourMs, n, 15 * minuteMs},
		)
	}
	for _, n := range []int{2, 3} {
		all = append(all,
			fault{"rises by 0.15", shifted(0.15), []Health{Jumping, Disagreeing}, 12 * hourMs, n, minuteMs},
			fault{"rises by 0.15", shifted(0.15), []Health{Jumping, Disagreeing}, 12 * hourMs, n, 15 * minuteMs},
			fault{"drifts by 0.04 a day", drifting(0.04), []Health{Drifting, Disagreeing}, 72 * hourMs, n, 5 * minuteMs},
			fault{"drifts by -0.02 a day", drifting(-0.02), []Health{Drifting}, 120 * hourMs, n, 5 * minuteMs},
			fault{"frozen but for a jitter", frozen(0.0003), []Health{Stuck}, 72 * hourMs, n, minuteMs},
		)
	}
	return all
}

// Each fault is found, in time, by its name, and nobody else is blamed.
func TestFaultsAreFound(t *testing.T) {
	gain, lag := trialGain, trialLag
	trialGain, trialLag = 0.1, 5
	defer func() { trialGain, trialLag = gain, lag }()
	for _, f := range trialFaults() {
		slowest, blamed := int64(0), 0
		for seed := range uint64(3) {
			z := newTrialZone(seed*7+300, f.probes, f.every)
			from := z.atMs + 6*dayMs + int64(seed*5)*hourMs
			if f.name == "frozen but for a jitter" {
				z.probes[0].resolution = 0.0001 // steps of 0.005 would hide a jitter, or flip by it
			}
			spoil := f.make(rand.New(rand.NewPCG(seed, 3)))
			z.probes[0].fault = func(at int64, r float64) (float64, bool) {
				if at < from {
					return r, true
				}
				return spoil(at-from, r)
			}
			var p Panel
			found := int64(-1)
			z.run(6*dayMs+int64(seed*5)*hourMs+f.within+hourMs, func(i int, at int64, r float64) {
				p.Observe(i, at, r, r, Zone{WaterMs: z.reported()})
			}, func(at int64) {
				for i := range f.probes {
					h := p.Health.At(i).Health(at)
					switch {
					case h == OK:
					case i > 0 || at < from:
						blamed++
					case found < 0:
						found = at - from
						if !contains(f.states, h) {
							t.Errorf("%s, %d probes every %d s, seed %d: called %v", f.name, f.probes, f.every/1000, seed, h)
						}
					}
				}
			})
			if found < 0 || found > f.within {
				t.Errorf("%s, %d probes every %d s, seed %d: found after %.1f h, expected %.1f", f.name, f.probes, f.every/1000, seed,
					float64(found)/float64(hourMs), float64(f.within)/float64(hourMs))
			}
			slowest = max(slowest, found)
		}
		if blamed > 0 {
			t.Errorf("%s, %d probes every %d s: others were ill for %d min", f.name, f.probes, f.every/1000, blamed)
		}
		t.Logf("%-24s %d probes every %4d s: found within %.1f h", f.name, f.probes, f.every/1000, float64(slowest)/float64(hourMs))
	}
}

func contains(list []Health, h Health) bool {
	for _, x := range list {
		if x == h {
			return true
		}
	}
	return false
}

// A moved probe settles at its new level, is believed again, and the zone's
// level has not moved with it.
func TestMovedProbeIsLearnedAnew(t *testing.T) {
	gain, lag := trialGain, trialLag
	trialGain, trialLag = 0, 2
	defer func() { trialGain, trialLag = gain, lag }()
	for _, by := range []float64{-0.15, 0.15} {
		z, same := newTrialZone(5, 3, 5*minuteMs), newTrialZone(5, 3, 5*minuteMs)
		z.reports, same.reports = true, true
		from := z.atMs + 5*dayMs + 3*hourMs
		z.probes[1].fault = func(at int64, r float64) (float64, bool) {
			if at >= from {
				r += by
			}
			return r, true
		}
		var p, q Panel
		var want []float64
		same.run(7*dayMs, func(i int, at int64, r float64) { q.Observe(i, at, r, r, Zone{WaterMs: same.reported()}) },
			func(at int64) { v, _, _, _ := q.Consensus.Value(at); want = append(want, v) })
		k, jumping, worst := 0, false, 0.0
		z.run(7*dayMs, func(i int, at int64, r float64) { p.Observe(i, at, r, r, Zone{WaterMs: z.reported()}) },
			func(at int64) {
				v, _, _, _ := p.Consensus.Value(at)
				if at-z.reported() > 10*minuteMs { // water comes to two of three probes sooner or later than to all
					worst = max(worst, abs(v-want[k]))
				}
				k++
				jumping = jumping || p.Health.At(1).State == Jumping
			})
		if !jumping || p.Health.At(1).State != OK {
			t.Errorf("moved by %v: jumping seen %v, now %v; expected jumping, then ok", by, jumping, p.Health.At(1).State)
		}
		if worst > 0.005 {
			t.Errorf("moved by %v: the zone moved with it by %.4f", by, worst)
		}
		at, before, after := p.Health.At(1).Stepped()
		if abs(float64(at-from)) > float64(30*minuteMs) || abs(after-before-by) > 0.03 {
			t.Errorf("moved by %v: stepped from %.3f to %.3f, %d min after it was moved", by, before, after, (at-from)/minuteMs)
		}
		p.Moved(1, z.atMs)
		for i := range z.probes {
			if at, _, _ := p.Health.At(i).Stepped(); at != 0 {
				t.Errorf("moved by %v: probe %d has stepped; a person said that probe 1 was moved, and the others stayed", by, i)
			}
		}
	}
}

// liftedZone is a zone whose first probe reads 0.2 m3/m3 less for a while, on its fourth
// day, and when that begins.
func liftedZone(probes int, forMs int64) (*trialZone, int64) {
	z := newTrialZone(8, probes, 5*minuteMs)
	from := z.atMs + 3*dayMs + 2*hourMs
	z.probes[0].fault = func(at int64, r float64) (float64, bool) {
		if at >= from && at < from+forMs {
			r -= 0.2
		}
		return r, true
	}
	return z, from
}

// A probe that is lifted for half an hour and put back jumps, and is where it was.
func TestAProbeThatIsPutBackHasNotStepped(t *testing.T) {
	for _, probes := range []int{1, 3} {
		z, _ := liftedZone(probes, 25*minuteMs)
		var p Panel
		jumped := false
		z.run(3*dayMs+6*hourMs, func(i int, at int64, r float64) {
			p.Observe(i, at, r, r, Zone{})
		}, func(int64) { jumped = jumped || p.Health.At(0).State == Jumping })
		if at, before, after := p.Health.At(0).Stepped(); !jumped || at != 0 {
			t.Errorf("%d probes: jumped %v, stepped at %d from %.3f to %.3f", probes, jumped, at, before, after)
		}
	}
}

// One reading that is far off, in either direction, and back is forgiven at once.
func TestSpikeIsForgiven(t *testing.T) {
	for _, probes := range []int{1, 3} {
		z, at0 := liftedZone(probes, 5*minuteMs)
		var p Panel
		worst := 0.0
		before := 0.0
		z.run(3*dayMs+4*hourMs, func(i int, at int64, r float64) {
			p.Observe(i, at, r, r, Zone{})
		}, func(at int64) {
			v, _, _, ok := p.Consensus.Value(at)
			if ok && at > at0-hourMs && before != 0 {
				worst = max(worst, abs(v-before))
			}
			if ok {
				before = v
			}
		})
		if p.Health.At(0).State != OK {
			t.Errorf("%d probes: a spike left the probe %v", probes, p.Health.At(0).State)
		}
		if worst > 0.03 {
			t.Errorf("%d probes: a spike of 0.2 moved the zone by %.3f", probes, worst)
		}
		if at, from, to := p.Health.At(0).Stepped(); at != 0 {
			t.Errorf("%d probes: a spike is told as a step from %.3f to %.3f", probes, from, to)
		}
	}
}

// 0.1 apart for ever is where they sit, not an illness.
func TestConstantDifferenceIsNoIllness(t *testing.T) {
	z := newTrialZone(3, 2, 5*minuteMs)
	z.probes[0].offset, z.probes[1].offset = 0.05, -0.05
	var p Panel
	z.run(20*dayMs, func(i int, at int64, r float64) {
		if h := p.Observe(i, at, r, r, Zone{}); h != OK {
			t.Fatalf("probe %d is %v", i, h)
		}
	}, nil)
	a, _ := p.Consensus.Offset(0)
	b, _ := p.Consensus.Offset(1)
	if abs(a-b-0.1) > 0.01 || abs(a+b) > 0.002 {
		t.Errorf("offsets %.3f and %.3f; expected 0.1 apart and of sum 0", a, b)
	}
}

func TestMisdatedAndRefused(t *testing.T) {
	var p Panel
	at := trialStartMs
	for range 20 {
		at += 5 * minuteMs
		p.Observe(0, at, 0.5, 0.5, Zone{})
	}
	if h := p.Misdated(0, at, true); h != ClockWrong {
		t.Errorf("a wrong clock makes the probe %v", h)
	}
	if _, _, _, ok := p.Consensus.Value(at); ok {
		t.Error("a probe with a wrong clock still speaks for the zone")
	}
	if h := p.Misdated(0, at, false); h != OK {
		t.Errorf("a clock set right leaves the probe %v", h)
	}
	if h := p.Refuse(0, at+minuteMs); h != OK {
		t.Errorf("one garbled message makes the probe %v", h)
	}
	if h := p.Refuse(0, at+2*minuteMs); h != OutOfRange {
		t.Errorf("a second one leaves it %v", h)
	}
	for i := range 8 {
		at += 5 * minuteMs
		h := p.Observe(0, at, 0.5, 0.5, Zone{})
		if i == 7 && h != OK {
			t.Errorf("eight good readings on it is %v", h)
		}
	}
	if h := p.Observe(0, at+5*minuteMs, 0.99, 0.9, Zone{Ceiling: 0.5}); h != OK {
		t.Errorf("one reading far above the porosity makes the probe %v", h)
	}
	if h := p.Observe(0, at+10*minuteMs, 0.99, 0.9, Zone{Ceiling: 0.5}); h != OutOfRange {
		t.Errorf("two readings far above the porosity leave the probe %v", h)
	}
}

func TestHealthWords(t *testing.T) {
	want := []string{"ok", "stale", "stuck", "out-of-range", "jumping", "drifting", "disagreeing", "clock-wrong"}
	for i, w := range want {
		if got := Health(i).String(); got != w {
			t.Errorf("health %d is %q, expected %q", i, got, w)
		}
	}
	if HealthCount != len(want) || Health(200).String() != "unknown" {
		t.Error("there is a state of health that the wire does not know")
	}
}

// Where the peers rise and a probe does not, its noise tells whether it has frozen or
// its container gets nothing.
func TestStuckIsFrozenNotUnwatered(t *testing.T) {
	for _, quiet := range []bool{true, false} {
		var s Still
		s.begin(0, 0.4)
		for m := range int64(120) {
			others := 0.40
			if m > 60 {
				others = 0.46
			}
			s.observe(stillReading{atMs: m * minuteMs, dtMs: minuteMs, own: 0.4 + 0.0005*float64(m%2), noise: 0.001, quiet: quiet, known: true},
				Surroundings{Others: others, OthersN: 2})
		}
		if s.Stuck != quiet {
			t.Errorf("its noise has gone: %v, stuck: %v; expected the same", quiet, s.Stuck)
		}
	}
}
