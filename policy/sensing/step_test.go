package sensing

import (
	"math/rand/v2"
	"testing"
)

// A probe that fell as no water can is believed again once it answers to water at its new
// level, comes back, or a person has looked; not before, however long it stays there. Where
// no root leaves so little water it is out of range until it comes back or a person looks.
func TestAProbeThatFellMustShowThatItSitsInSubstrate(t *testing.T) {
	const days = 3
	for _, c := range []struct {
		name    string
		probes  int
		wilting float64
		falls   func(reading float64) float64
		looked  bool
		held    Health // from half an hour after the fall until it is believed
		until   int64  // when it is believed at the latest, ms from the fall; 0: never
	}{
		{"hangs in the air", 1, 0.08, func(float64) float64 { return 0.03 }, false, OutOfRange, 0},
		{"hangs in the air, peers", 3, 0.08, func(float64) float64 { return 0.03 }, false, OutOfRange, 0},
		{"hangs in the air, a substrate that gives up all", 1, 0.02, func(float64) float64 { return 0.03 }, false, Jumping, 0},
		{"hangs in the air, a person says that it is well", 1, 0.08, func(float64) float64 { return 0.03 }, true, OutOfRange, dayMs},
		{"was knocked", 1, 0.08, func(r float64) float64 { return r - 0.08 }, false, Jumping, dayMs},
		{"was knocked, peers", 3, 0.08, func(r float64) float64 { return r - 0.08 }, false, Jumping, dayMs},
	} {
		for _, reports := range []bool{true, false} {
			z := newTrialZone(8, c.probes, 5*minuteMs)
			z.reports = reports
			from := z.atMs + 3*dayMs + 20*hourMs // after the day's last shot
			noise := rand.New(rand.NewPCG(4, 2))
			z.probes[0].fault = func(at int64, r float64) (float64, bool) {
				if at >= from && at < from+days*dayMs {
					r = c.falls(r) + 0.0007*noise.NormFloat64()
				}
				return r, true
			}
			var p Panel
			believed := int64(0)
			z.run(days*dayMs+3*dayMs+20*hourMs, func(i int, at int64, r float64) {
				p.Observe(i, at, r, r, Zone{WaterMs: z.reported(), Wilting: c.wilting})
				if c.looked && i == 0 && at >= from+hourMs && at < from+hourMs+5*minuteMs {
					p.Looked(at)
				}
			}, func(at int64) {
				h := p.Health[0].Health(at)
				switch {
				case at < from+hourMs || believed != 0:
				case h == OK:
					believed = at - from
				case h != c.held:
					t.Fatalf("%s, reported %v: %v %.1f h after the fall, expected %v", c.name, reports, h, float64(at-from)/float64(hourMs), c.held)
				}
			})
			if c.until == 0 && believed != 0 || c.until > 0 && (believed == 0 || believed > c.until) {
				t.Errorf("%s, reported %v: believed %.1f h after the fall", c.name, reports, float64(believed)/float64(hourMs))
			}
			z.run(dayMs, func(i int, at int64, r float64) {
				p.Observe(i, at, r, r, Zone{WaterMs: z.reported(), Wilting: c.wilting})
			}, nil)
			if h := p.Health[0].Health(z.atMs); h != OK {
				t.Errorf("%s, reported %v: %v a day after it was put back", c.name, reports, h)
			}
		}
	}
}

// A container that stood far above what it holds when drained, by water that nobody saw come,
// may fall to that at any speed, and no further.
func TestDrainageIsNoStep(t *testing.T) {
	for _, c := range []struct {
		capacity, to float64
		jumps        bool
	}{{0.65, 0.75, false}, {0.65, 0.55, true}, {0, 0.75, true}} {
		var h ProbeHealth
		var p Panel
		at := trialStartMs
		seen := false
		for m := range 48 * 60 {
			at += minuteMs
			level := 0.85
			if m > 47*60 {
				level = max(c.to, 0.85-0.02*float64(m-47*60))
			}
			h := p.Observe(0, at, level+0.001*float64(m%2), level, Zone{Capacity: c.capacity})
			seen = seen || h == Jumping
		}
		if seen != c.jumps {
			t.Errorf("capacity %g, down to %g: jumping %v (%v)", c.capacity, c.to, seen, h.State)
		}
	}
}

// A probe whose readings jump to and fro for days and then no more has not stepped: no single
// stray reading is the level it came from or went to.
func TestJumpingToAndFroIsNoStep(t *testing.T) {
	for seed := range uint64(12) {
		z := newTrialZone(seed+40, 1, 5*minuteMs)
		from := z.atMs + 4*dayMs
		rng := rand.New(rand.NewPCG(seed, 7))
		z.probes[0].fault = func(at int64, r float64) (float64, bool) {
			if at >= from && at < from+2*dayMs && rng.Float64() < 0.15 {
				by := 0.08 + 0.12*rng.Float64()
				if rng.IntN(2) == 0 {
					by = -by
				}
				r += by
			}
			return r, true
		}
		var p Panel
		jumped := false
		z.run(6*dayMs+12*hourMs, func(i int, at int64, r float64) {
			jumped = p.Observe(i, at, r, r, Zone{WaterMs: z.reported()}) == Jumping || jumped
		}, nil)
		if at, before, after := p.Health[0].Stepped(); !jumped || at != 0 || p.Health[0].State != OK {
			t.Errorf("seed %d: jumped %v, %v, stepped %.1f h after it began, from %.3f to %.3f", seed, jumped, p.Health[0].State,
				float64(at-from)/float64(hourMs), before, after)
		}
	}
}

// One watering that was told long ago asks for no report of those that a probe answers to
// now.
func TestAnOldReportKeepsNoProbeOut(t *testing.T) {
	for _, ago := range []int64{0, 20 * dayMs} {
		var p Panel
		at := int64(1_700_000_000_000)
		zone := Zone{Ceiling: 0.9, Least: 0.02, Wilting: 0.08, Capacity: 0.6, Floor: 0.2}
		if ago > 0 {
			zone.WaterMs = at - ago
		}
		level, state := 0.55, OK
		for k := range 9 * 288 {
			at += 5 * minuteMs
			if k%72 == 0 { // a shot every six hours, which nobody reports
				level += 0.04
			}
			level -= 0.04 / 72
			reading := level
			if k > 5*288 { // knocked
				reading -= 0.15
			}
			state = p.Observe(0, at, reading, reading, zone)
		}
		if state != OK {
			t.Errorf("told of water %d days before: %v four days after it was knocked, with sixteen shots that it answered to", ago/dayMs, state)
		}
	}
}
