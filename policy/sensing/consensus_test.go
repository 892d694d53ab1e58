package sensing

import (
	"bytes"
	"encoding/gob"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

// calmZone is a zone whose three probes see the same water at the same time, each
// with its own offset and noise. Where good probes themselves see a shot minutes
// apart, what a bad one among them may move is bounded by how far they differ.
func calmZone(seed uint64, every int64) *trialZone {
	z := newTrialZone(seed, 3, every)
	for i := range z.probes {
		z.probes[i].gain = 1
		z.probes[i].lagMs = float64(3 * minuteMs)
		z.probes[i].nextMs = z.atMs
		z.probes[i].resolution = 0.001
		z.probes[i].noise = 0.001 // of the probes of the recorded zones
	}
	return z
}

// One bad probe of three, whatever it says, moves the zone by at most 0.005 in the
// mean of an hour from where its good self would have had it; single values carry
// the noise of the two that are left.
func TestOneBadProbeOfThree(t *testing.T) {
	worst := 0.0
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64Range(0, 1000).Draw(t, "seed")
		every := []int64{minuteMs, 5 * minuteMs, 15 * minuteMs}[rapid.IntRange(0, 2).Draw(t, "interval")]
		kind := rapid.IntRange(0, 6).Draw(t, "kind")
		by := rapid.Float64Range(-0.5, 0.5).Draw(t, "by")
		after := rapid.Int64Range(2*dayMs, 4*dayMs).Draw(t, "after")
		good, bad := calmZone(seed, every), calmZone(seed, every)
		from := good.atMs + after
		rng := rand.New(rand.NewPCG(seed, 9))
		held := -1.0
		bad.probes[1].fault = func(at int64, r float64) (float64, bool) {
			if at < from {
				return r, true
			}
			if held < 0 {
				held = r
			}
			switch kind {
			case 0:
				return r + by, true
			case 1:
				return r + by/2*float64(at-from)/float64(dayMs), true
			case 2:
				return held, true
			case 3:
				return r + by*rng.NormFloat64(), true
			case 4:
				return math.Abs(by), true
			case 5:
				return r + by, (at-from)/(2*hourMs)%2 == 0 // comes and goes
			}
			return 0, false
		}
		var p, q Panel
		var want []float64
		good.run(6*dayMs, func(i int, at int64, r float64) { p.Observe(i, at, r, r, Zone{}) },
			func(at int64) { v, _, _, _ := p.Consensus.Value(at); want = append(want, v) })
		k, hour := 0, 0.0
		bad.run(6*dayMs, func(i int, at int64, r float64) { q.Observe(i, at, r, r, Zone{}) }, func(at int64) {
			v, sd, _, ok := q.Consensus.Value(at)
			if ok && (math.IsNaN(v) || math.IsNaN(sd) || sd <= 0) {
				t.Fatalf("value %v, sd %v", v, sd)
			}
			if d := v - want[k]; ok && at > from {
				hour += (d - hour) / 60
				worst = max(worst, math.Abs(hour))
				if math.Abs(hour) > 0.005 || math.Abs(d) > 0.0075 {
					t.Fatalf("kind %d by %.3f every %d s: the zone is off by %.4f, %.2f h on; probe is %v",
						kind, by, every/1000, d, float64(at-from)/float64(hourMs), q.Health.At(1).State)
				}
			}
			k++
		})
	})
	t.Logf("largest move %.4f", worst)
}

// A probe that falls silent, and comes back, does not step the value. (A shot that
// comes just as it falls silent shows by half only, of two probes, until the
// silent one is found late, 1.7 of its intervals on.)
func TestDropoutDoesNotStep(t *testing.T) {
	for _, probes := range []int{2, 3, 5} {
		for seed := range uint64(4) {
			z, same := newTrialZone(seed+60, probes, 5*minuteMs), newTrialZone(seed+60, probes, 5*minuteMs)
			from := z.atMs - z.atMs%dayMs + 4*dayMs + 21*hourMs + int64(seed)*20*minuteMs // after the last shot
			z.probes[0].fault = func(at int64, r float64) (float64, bool) { return r, at < from || at > from+7*hourMs }
			var p, q Panel
			var want []float64
			last := 0.0
			same.run(6*dayMs, func(i int, at int64, r float64) { q.Observe(i, at, r, r, Zone{}) }, func(at int64) {
				v, _, _, _ := q.Consensus.Value(at)
				want = append(want, v-last)
				last = v
			})
			last = 0
			k, worst, before, members := 0, 0.0, 0, 0
			z.run(6*dayMs, func(i int, at int64, r float64) { p.Observe(i, at, r, r, Zone{}) }, func(at int64) {
				v, _, n, _ := p.Consensus.Value(at)
				if n != before && at > from-hourMs {
					members++
					worst = max(worst, abs(v-last-want[k]))
				}
				last, before = v, n
				k++
			})
			if members != 2 {
				t.Errorf("%d probes, seed %d: membership changed %d times, expected 2", probes, seed, members)
			}
			if worst > 0.003 {
				t.Errorf("%d probes, seed %d: the value stepped by %.4f as a probe left or came", probes, seed, worst)
			}
		}
	}
}

// The standard deviation is honest: the value follows the true course of the
// zone within it about as often as a normal error would.
func TestValueIsHonest(t *testing.T) {
	for _, probes := range []int{1, 2, 3, 5} {
		n, inside, squares := 0, 0, 0.0
		for seed := range uint64(6) {
			z := newTrialZone(seed+500, probes, 5*minuteMs)
			var p Panel
			past := map[int64][2]float64{} // an hour ago: truth, value
			z.run(8*dayMs, func(i int, at int64, r float64) { p.Observe(i, at, r, r, Zone{}) }, func(at int64) {
				v, sd, _, ok := p.Consensus.Value(at)
				if !ok || at%(10*minuteMs) != 0 {
					return
				}
				if was, ok := past[at-hourMs]; ok && at > trialStartMs+2*dayMs {
					// change over an hour: the level is LevelSD's matter
					e := (v - was[1]) - (z.truth() - was[0])
					n++
					squares += e * e / (2 * sd * sd)
					if math.Abs(e) <= 1.645*math.Sqrt2*sd {
						inside++
					}
				}
				past[at] = [2]float64{z.truth(), v}
			})
		}
		share, mean := float64(inside)/float64(n), squares/float64(n)
		t.Logf("%d probes: hourly changes inside the 90 %% band %.3f, normalised square %.2f, of %d", probes, share, mean, n)
		if share < 0.75 {
			t.Errorf("%d probes: only %.3f of the hourly changes are inside the 90 %% band", probes, share)
		}
	}
}

// A snapshot restored mid-stream goes on exactly as if never stopped.
func TestSnapshotGoesOn(t *testing.T) {
	z := newTrialZone(77, 3, 5*minuteMs)
	var p Panel
	n := 0
	z.run(3*dayMs, func(i int, at int64, r float64) {
		p.Observe(i, at, r, r, Zone{WaterMs: z.reported()})
		if n++; n%97 != 0 {
			return
		}
		var b bytes.Buffer
		if err := gob.NewEncoder(&b).Encode(&p); err != nil {
			t.Fatal(err)
		}
		var q Panel
		if err := gob.NewDecoder(&b).Decode(&q); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(q, p) {
			t.Fatalf("the panel read back differs after %d readings", n)
		}
	}, nil)
}

// Whatever comes in, in whatever order, nothing but numbers comes out.
func TestPanelTakesAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p Panel
		at := trialStartMs
		for range rapid.IntRange(1, 200).Draw(t, "events") {
			at += rapid.Int64Range(-10*minuteMs, 12*hourMs).Draw(t, "step")
			probe := rapid.IntRange(0, MaxProbes-1).Draw(t, "probe")
			switch rapid.IntRange(0, 9).Draw(t, "event") {
			case 0:
				p.Refuse(probe, at)
			case 1:
				p.Misdated(probe, at, rapid.Bool().Draw(t, "wrong"))
			case 2:
				p.Moved(probe, at)
			default:
				wc := rapid.Float64Range(0, 1).Draw(t, "water content")
				p.Observe(probe, at, wc, wc, Zone{WaterMs: rapid.SampledFrom([]int64{0, at, at - hourMs}).Draw(t, "water")})
			}
			v, sd, n, ok := p.Consensus.Value(at)
			if math.IsNaN(v) || math.IsNaN(sd) || ok && (v < 0 || v > 1 || sd <= 0 || n < 1) {
				t.Fatalf("value %v, sd %v, %d probes, %v", v, sd, n, ok)
			}
			if l := p.Consensus.LevelSD(); math.IsNaN(l) || l < 0 {
				t.Fatalf("level sd %v", l)
			}
		}
	})
}

func TestLocation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var v [MaxProbes]float64
		n := rapid.IntRange(3, MaxProbes).Draw(t, "n")
		for i := range n {
			v[i] = rapid.Float64Range(0, 1).Draw(t, "value")
		}
		mask := uint16(1<<n - 1)
		m, k := location(&v, mask, huberReach)
		if k != n {
			t.Fatalf("%d of %d values counted", k, n)
		}
		pull := 0.0
		for i := range n {
			pull += math.Min(math.Max(v[i]-m, -huberReach), huberReach)
		}
		if math.Abs(pull) > 1e-8 {
			t.Fatalf("the pulls do not balance: %v", pull)
		}
	})
}

func TestAsynchronousReadingsAreIncomplete(t *testing.T) {
	var c Consensus
	at := trialStartMs
	for range 20 {
		at += 5 * minuteMs
		c.Observe(0, at, 0.5, true)
		if c.Complete(at) && c.Probes.At(1).Known {
			t.Fatal("complete before the second probe spoke")
		}
		c.Observe(1, at, 0.52, true)
		if !c.Complete(at) {
			t.Fatal("incomplete after both spoke")
		}
	}
}
