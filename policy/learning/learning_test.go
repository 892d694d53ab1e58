package learning

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// What a pot is like is found out within a fortnight, with and without
// reports, with and without a climate, from 10 s to 15 min.
func TestLearnsWhatThePotIsLike(t *testing.T) {
	for _, told := range []bool{true, false} {
		for _, climate := range []bool{true, false} {
			for _, every := range []int64{60_000, 5 * minuteMs, 15 * minuteMs} {
				t.Run(fmt.Sprintf("told=%v climate=%v every=%ds", told, climate, every/1000), func(t *testing.T) {
					p, g := newPot(7), &grower{trigger: 0.57, ml: 250}
					c := potConstants(p)
					var z Zone
					play(p, g, &z, c, 14, every, told, climate, nil)
					given, drunk, spilt, t0 := p.given, p.drunk, p.spilt, z.Account.Totals
					l0 := p.level
					play(p, g, &z, c, 7, every, told, climate, nil)
					got := z.Account.Totals
					irr, up, dr := got.IrrigationML-t0.IrrigationML, got.UptakeML-t0.UptakeML, got.DrainML-t0.DrainML
					wantI, wantU, wantD := p.given-given, p.drunk-drunk, p.spilt-spilt
					t.Logf("irrigation %.0f of %.0f, uptake %.0f of %.0f, drain %.0f of %.0f; capture %.2f capacity %.3f drain time %.0f stored %.0f", irr, wantI, up, wantU, dr, wantD,
						z.Capture.Mean, z.Capacity.Mean, math.Exp(z.DrainLog.Mean), p.volume*(p.level-l0))
					// Read each quarter hour and watered each half, a pot
					// shows hardly any fall of its own by day.
					near := 0.1
					if every == 15*minuteMs {
						near = 0.2
					}
					if math.Abs(up-wantU) > near*wantU {
						t.Errorf("uptake of a week %.0f mL, really %.0f", up, wantU)
					}
					if told {
						if math.Abs(irr-wantI) > 1 {
							t.Errorf("irrigation %.0f mL, really %.0f", irr, wantI)
						}
						if math.Abs(dr-wantD) > near*wantI {
							t.Errorf("drain %.0f mL, really %.0f of %.0f given", dr, wantD, wantI)
						}
						if math.Abs(z.Capture.Mean-p.capture) > 0.1 {
							t.Errorf("capture %.2f, really %.2f", z.Capture.Mean, p.capture)
						}
					}
				})
			}
		}
	}
}

// A pot watered to the brim shows its capacity and its drainage time.
func TestLearnsCapacityFromPlateaus(t *testing.T) {
	p, g := newPot(3), &grower{trigger: 0.59, ml: 400}
	c := potConstants(p)
	var z Zone
	plateaus := 0
	play(p, g, &z, c, 10, 5*minuteMs, true, true, func(ev Events) {
		if ev.PlateauAtMs != 0 {
			plateaus++
		}
	})
	if plateaus < 10 {
		t.Errorf("%d plateaus in ten days of watering to drain", plateaus)
	}
	if math.Abs(z.Capacity.Mean-p.capacity) > 0.012 {
		t.Errorf("capacity %.3f, really %.3f", z.Capacity.Mean, p.capacity)
	}
	if got := math.Exp(z.DrainLog.Mean); got < 400 || got > 2000 {
		t.Errorf("drainage time %.0f s, really %.0f", got, p.drainS)
	}
}

// Waterings are seen without reports, at any rhythm and noise of a probe.
func TestSeesShotsAtAnyRhythm(t *testing.T) {
	for _, every := range []int64{10_000, 60_000, 5 * minuteMs, 10 * minuteMs} {
		for _, noise := range []float64{0.0005, 0.001, 0.002} {
			p, g := newPot(11), &grower{trigger: 0.57, ml: 250}
			p.noise = noise
			var z Zone
			seen := 0
			before := p.given
			play(p, g, &z, potConstants(p), 10, every, false, false, func(ev Events) {
				if ev.ShotAtMs != 0 {
					seen++
				}
			})
			given := int((p.given - before) / g.ml)
			t.Logf("every %4d s, noise %.4f: %d shots given, %d seen", every/1000, noise, given, seen)
			if math.Abs(float64(seen-given)) > 0.05*float64(given)+1 {
				t.Errorf("every %d s, noise %.4f: %d shots given, %d seen", every/1000, noise, given, seen)
			}
		}
	}
}

// A pot that nobody waters is not seen watered: once in a fortnight at most at
// the noise of a good probe, once in four days at twice that.
func TestSeesNoShotsInADryDown(t *testing.T) {
	for _, noise := range []float64{0.001, 0.002} {
		seen, days := 0, 0
		for seed := range uint64(20) {
			p := newPot(seed)
			p.noise = noise
			p.perDay = 600
			var z Zone
			play(p, &grower{}, &z, potConstants(p), 4, 5*minuteMs, false, seed%2 == 0, func(ev Events) {
				if ev.ShotAtMs != 0 {
					seen++
				}
			})
			days += 4
		}
		t.Logf("noise %.3f: %d waterings seen in %d days without any", noise, seen, days)
		if noise == 0.001 && seen > days/14 || seen > days/4 {
			t.Errorf("noise %.3f: %d waterings seen in %d days without any", noise, seen, days)
		}
	}
}

// A silence of hours makes no watering, no dryback, no drain and no other
// uptake than the crop's usual one, whatever the levels on its two sides.
func TestSilenceConcludesNothing(t *testing.T) {
	for _, jump := range []float64{-0.2, -0.05, 0.05, 0.2} {
		p, g := newPot(5), &grower{trigger: 0.57, ml: 250}
		c := potConstants(p)
		var z Zone
		play(p, g, &z, c, 6, 5*minuteMs, false, false, nil)
		for mod(p.at, dayMs) != 20*hourMs {
			play(p, g, &z, c, 5.0/1440, 5*minuteMs, false, false, nil)
		}
		t0, before := z.Account.Totals, expected(&z, c)
		p.run(p.at + 5*hourMs)
		drunk := p.perDay / 24 * p.night * 5
		p.level += jump
		z.Advance(c, p.at)
		for range 4 {
			p.run(p.at + 5*minuteMs)
			ev := z.Observe(c, p.at, p.reading(), p.noise)
			if ev.ShotAtMs != 0 || ev.Dryback != 0 || ev.Overnight != 0 || ev.PlateauAtMs != 0 {
				t.Errorf("jump %+.2f: after a silence came %+v", jump, ev)
			}
		}
		t1 := z.Account.Totals
		if t1.IrrigationML != t0.IrrigationML || t1.DrainML > t0.DrainML+60 {
			t.Errorf("jump %+.2f: a silence gave %.0f mL, drained %.0f", jump, t1.IrrigationML-t0.IrrigationML, t1.DrainML-t0.DrainML)
		}
		if up := t1.UptakeML - t0.UptakeML; math.Abs(up-drunk) > 0.6*drunk {
			t.Errorf("jump %+.2f: uptake of the silence %.0f mL, really %.0f", jump, up, drunk)
		}
		if after := expected(&z, c); math.Abs(after/before-1) > 0.03 {
			t.Errorf("jump %+.2f: a silence moved the uptake expected of a day from %.0f to %.0f mL", jump, before, after)
		}
		if _, sd, _ := z.WaterContent(); sd > 0.1 {
			t.Errorf("sd %v", sd)
		}
	}
}

// A silence of a week leaves the spread bounded and nothing impossible.
func TestLongSilenceSaturatesTheSpread(t *testing.T) {
	p, g := newPot(5), &grower{trigger: 0.57, ml: 250}
	c := potConstants(p)
	var z Zone
	play(p, g, &z, c, 6, 5*minuteMs, false, false, nil)
	z.Advance(c, p.at+7*dayMs)
	level, sd, ok := z.WaterContent()
	if !ok || !(sd <= 0.1) || !(level > 0 && level < 1) {
		t.Errorf("after a week: %v sd %v", level, sd)
	}
	if s := z.Sums24h(); s.IrrigationML != 0 || s.DrainML != 0 {
		t.Errorf("after a week the last day has %+v", s)
	}
}

// One bad day of readings moves no learned number by more than 5 %.
func TestABadDayTeachesLittle(t *testing.T) {
	bad := map[string]func(k int, w float64) float64{
		"falls twice as fast": func(k int, w float64) float64 { return w - 0.0007*float64(k) },
		"rises slowly":        func(k int, w float64) float64 { return w + 0.0003*float64(k) },
		"stands still":        func(int, float64) float64 { return 0.55 },
		"noisy":               func(k int, w float64) float64 { return w + 0.02*math.Sin(float64(k*k)) },
	}
	for name, f := range bad {
		t.Run(name, func(t *testing.T) {
			p, g := newPot(9), &grower{trigger: 0.57, ml: 250}
			c := potConstants(p)
			var z Zone
			play(p, g, &z, c, 15, 5*minuteMs, true, true, nil)
			was := z
			for k := range 288 {
				p.run(p.at + 5*minuteMs)
				if g.wants(p) {
					z.Water(c, p.at, g.ml, true)
					p.shot(g.ml)
				}
				z.Demand(c, p.at, usualDemand*p.demand())
				z.Observe(c, p.at, math.Min(math.Max(f(k, p.reading()), 0), 1), 0.002)
			}
			check := func(what string, a, b float64) {
				if math.Abs(b/a-1) > 0.05 {
					t.Errorf("%s went from %.4f to %.4f", what, a, b)
				}
			}
			check("uptake by day", math.Exp(was.Rates.Day.Mean), math.Exp(z.Rates.Day.Mean))
			check("uptake by night", math.Exp(was.Rates.Night.Mean), math.Exp(z.Rates.Night.Mean))
			check("capture", was.Capture.Mean, z.Capture.Mean)
			check("gain", was.Gain.Mean, z.Gain.Mean)
			check("capacity", was.Capacity.Mean, z.Capacity.Mean)
		})
	}
}

// expected is the uptake expected of the next 24 h, mL.
func expected(z *Zone, c *Constants) float64 {
	var day [courseBins]float64
	z.UptakeSteps(c, z.AtMs, binMs, day[:])
	sum := 0.0
	for _, u := range day {
		sum += u
	}
	return sum
}

// A crop that drinks half, pruned and reported, is known again in three days;
// unreported it takes longer but comes. One pot's weather tells little: the mean of ten.
func TestFollowsAPrunedCrop(t *testing.T) {
	for _, told := range []bool{true, false} {
		off := 0.0
		for seed := uint64(13); seed < 23; seed++ {
			p, g := newPot(seed), &grower{trigger: 0.57, ml: 250}
			c := potConstants(p)
			var z Zone
			play(p, g, &z, c, 14, 5*minuteMs, true, true, nil)
			p.perDay *= 0.5
			if told {
				z.Changed(c, p.at, CropChanged)
			}
			play(p, g, &z, c, 3, 5*minuteMs, true, true, nil)
			off += (expected(&z, c)/p.perDay - 1) / 10
		}
		t.Logf("told %v: three days after pruning %.3f too much is expected", told, off)
		if math.Abs(off) > 0.15 {
			t.Errorf("told %v: three days after pruning %.3f too much is expected, at most 0.15 is allowed", told, off)
		}
	}
}

// All probes falling at once with no dry-down is a step, not a dryback.
func TestAStepIsNoDryback(t *testing.T) {
	p, g := newPot(17), &grower{trigger: 0.57, ml: 250}
	c := potConstants(p)
	var z Zone
	play(p, g, &z, c, 5, 5*minuteMs, false, false, nil)
	step := false
	play(p, &grower{}, &z, c, 0.2, 5*minuteMs, false, false, nil)
	p.level -= 0.06
	play(p, &grower{}, &z, c, 0.02, 5*minuteMs, false, false, func(ev Events) {
		step = step || ev.StepAtMs != 0
		if ev.Dryback != 0 {
			t.Errorf("a step made a dryback of %v", ev.Dryback)
		}
	})
	if !step {
		t.Error("a fall by 0.06 within 5 min went unseen")
	}
	if then, ok := z.History.LevelAt(p.at - dayMs/2); !ok || then > 0.57 {
		t.Errorf("yesterday's course stayed at %v (%v): it should have moved with the step", then, ok)
	}
}

// A copy restored from its bytes goes on exactly as if never stopped.
func TestSnapshotGoesOnExactly(t *testing.T) {
	p, g := newPot(19), &grower{trigger: 0.57, ml: 250}
	c := potConstants(p)
	var z Zone
	play(p, g, &z, c, 3.3, 5*minuteMs, true, true, nil)
	var b bytes.Buffer
	if err := binary.Write(&b, binary.LittleEndian, &z); err != nil {
		t.Fatal(err)
	}
	var restored Zone
	if err := binary.Read(&b, binary.LittleEndian, &restored); err != nil {
		t.Fatal(err)
	}
	p2, g2 := *p, *g
	play(p, g, &z, c, 3, 5*minuteMs, true, true, nil)
	play(&p2, &g2, &restored, c, 3, 5*minuteMs, true, true, nil)
	if z != restored {
		t.Error("the restored zone went another way")
	}
}

// Whatever comes, in whatever order, no number stops being one, sums never
// fall, and what was learned stays physical.
func TestAnythingInNothingImpossibleOut(t *testing.T) { rapid.Check(t, anything) }

func FuzzAnything(f *testing.F) { f.Fuzz(rapid.MakeFuzz(anything)) }

func anything(t *rapid.T) {
	{
		c := &Constants{
			VolumeML:       rapid.Float64Range(50, 60000).Draw(t, "volume"),
			DesignCapacity: rapid.Float64Range(0.3, 0.9).Draw(t, "capacity"),
			MinMean:        0.1, StressMean: rapid.Float64Range(0, 0.3).Draw(t, "stress"), MaxMean: 0.95,
			DayStartS: int32(rapid.IntRange(0, 86399).Draw(t, "start")), DayEndS: int32(rapid.IntRange(0, 86399).Draw(t, "end")),
		}
		var z Zone
		at := int64(1.7e12)
		last := Totals{}
		for range rapid.IntRange(1, 400).Draw(t, "events") {
			at += int64(rapid.SampledFrom([]int{-60, 0, 1, 10, 60, 300, 300, 300, 900, 3600, 86400, 10 * 86400}).Draw(t, "wait")) * 1000
			switch rapid.IntRange(0, 9).Draw(t, "kind") {
			case 0:
				z.Water(c, at, rapid.Float64Range(0, 5000).Draw(t, "ml"), rapid.Bool().Draw(t, "known"))
			case 1:
				z.Valve(c, at, rapid.Bool().Draw(t, "open"), rapid.Float64Range(0, 3).Draw(t, "flow"))
			case 2:
				z.Demand(c, at, rapid.Float64Range(0, 1000).Draw(t, "demand"))
			case 3:
				z.Drain(c, at, rapid.Float64Range(0, 5000).Draw(t, "drain"))
			case 4:
				z.Changed(c, at, Change(rapid.IntRange(0, 2).Draw(t, "change")))
			default:
				z.Observe(c, at, rapid.Float64Range(0, 1).Draw(t, "water"), rapid.Float64Range(0, 0.1).Draw(t, "sd"))
			}
			for _, v := range []float64{z.Level, z.LevelVar, z.Rates.Day.Mean, z.Rates.Night.Mean, z.Rates.Lift, z.Capture.Mean, z.Capacity.Mean, z.DrainLog.Mean,
				z.Ticks.Noise, z.Open.ModelML, z.Open.GivenML, z.Demands.DayVar, z.UptakeRelSD(), z.Account.Totals.UptakeML, z.Account.Totals.DrainML} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("not a number: %+v", z)
				}
			}
			if s := &z.Shots; s.After10 != 0 && s.After10Ms <= s.TopMs {
				t.Fatalf("ten minutes after the top at %d is %d", s.TopMs, s.After10Ms)
			}
			if shown := z.Shown(); shown < 0 || shown > z.Level {
				t.Fatalf("level %v, shown %v", z.Level, shown)
			}
			if z.Level < 0 || z.Level > 1 || z.LevelVar < 0 || z.LevelVar > levelVarMost {
				t.Fatalf("level %v, variance %v", z.Level, z.LevelVar)
			}
			n := z.Account.Totals
			if n.IrrigationML < last.IrrigationML || n.UptakeML < last.UptakeML || n.DrainML < last.DrainML {
				t.Fatalf("sums fell from %+v to %+v", last, n)
			}
			last = n
			if s := z.Sums24h(); s.UptakeML < 0 || s.DrainML < 0 || s.DrainFraction < 0 || s.DrainFraction > 1 {
				t.Fatalf("account of a day: %+v", s)
			}
		}
	}
}

// A zone that tells only its valve has the same account as one that tells
// volumes, and one that tells both counts no water twice.
func TestValveTellsTheSameWater(t *testing.T) {
	type told struct{ volume, valve bool }
	sums := map[told]Totals{}
	for _, how := range []told{{true, false}, {false, true}, {true, true}} {
		p, g := newPot(23), &grower{trigger: 0.57, ml: 250}
		c := potConstants(p)
		var z Zone
		const flow = 1.25 // 200 s for 250 mL
		for range 8 * 288 {
			p.run(p.at + 5*minuteMs)
			if g.wants(p) {
				if how.valve {
					z.Valve(c, p.at, true, flow)
				}
				if how.volume {
					z.Water(c, p.at+30_000, g.ml, true)
				}
				if how.valve {
					z.Valve(c, p.at+200_000, false, flow)
				}
				p.shot(g.ml)
			}
			z.Observe(c, p.at+240_000, p.reading(), p.noise)
		}
		sums[how] = z.Account.Totals
		if math.Abs(z.Account.Totals.IrrigationML-p.given) > 0.02*p.given+g.ml {
			t.Errorf("%+v: %.0f mL in the account, %.0f given", how, z.Account.Totals.IrrigationML, p.given)
		}
	}
	a, b := sums[told{true, false}].UptakeML, sums[told{false, true}].UptakeML
	if math.Abs(a-b) > 0.03*a {
		t.Errorf("uptake %.0f mL by volumes, %.0f by the valve", a, b)
	}
}

// A valve that stays open is booked as it runs, not only when it closes.
func TestAnOpenValveIsBookedAsItRuns(t *testing.T) {
	p := newPot(29)
	c := potConstants(p)
	var z Zone
	play(p, &grower{}, &z, c, 1, 5*minuteMs, false, false, nil)
	for range 12 {
		p.run(p.at + 5*minuteMs)
		z.Valve(c, p.at, true, 0.5)
		z.Observe(c, p.at, p.reading(), p.noise)
	}
	if got := z.Sums24h().IrrigationML; got < 1500 || got > 1800 {
		t.Errorf("a valve open for 55 min at 0.5 mL/s: %.0f mL booked, expected 1650", got)
	}
}

// Reports of one watering, a minute early or after its rise, are one watering.
func TestReportAndRiseAreOneWatering(t *testing.T) {
	for _, shift := range []int64{-60_000, 0, 8 * minuteMs} {
		p := newPot(31)
		c := potConstants(p)
		var z Zone
		play(p, &grower{}, &z, c, 1, 5*minuteMs, true, false, nil)
		z.Water(c, p.at-6*hourMs, 1, true) // this zone reports
		shots, unreported, ended := 0, 0, 0.0
		given := p.at
		p.shot(300)
		told := false
		for range 60 {
			if !told && p.at >= given+shift {
				z.Water(c, given+shift, 300, true)
				told = true
			}
			p.run(p.at + 2*minuteMs)
			ev := z.Observe(c, p.at, p.reading(), p.noise)
			if ev.ShotAtMs != 0 {
				shots++
				if ev.Unreported {
					unreported++
				}
			}
			if ev.EndedAtMs != 0 && ev.EndedAtMs >= given-2*minuteMs {
				ended = ev.EndedML
			}
		}
		if shots != 1 || shift <= 0 && unreported != 0 {
			t.Errorf("report %d s off: %d waterings seen, %d unreported", shift/1000, shots, unreported)
		}
		if math.Abs(ended-300) > 1 {
			t.Errorf("report %d s off: the watering ended with %.0f mL, 300 were given", shift/1000, ended)
		}
	}
}

func TestObserveAllocatesNothing(t *testing.T) {
	p, g := newPot(1), &grower{trigger: 0.57, ml: 250}
	c := potConstants(p)
	var z Zone
	play(p, g, &z, c, 2, 5*minuteMs, true, true, nil)
	at := z.AtMs
	if n := testing.AllocsPerRun(1000, func() {
		at += 30_000
		z.Observe(c, at, 0.55, 0.001)
	}); n != 0 {
		t.Errorf("%v allocations an observation", n)
	}
}

func BenchmarkObserve(b *testing.B) {
	p, g := newPot(1), &grower{trigger: 0.57, ml: 250}
	c := potConstants(p)
	var z Zone
	play(p, g, &z, c, 2, 5*minuteMs, true, true, nil)
	rows := make([]float64, 4096)
	for i := range rows {
		p.run(p.at + 30_000)
		if g.wants(p) {
			p.shot(g.ml)
		}
		rows[i] = p.reading()
	}
	at, i := z.AtMs, 0
	b.ReportAllocs()
	for b.Loop() {
		at += 30_000
		z.Demand(c, at, 1)
		z.Observe(c, at, rows[i&4095], 0.001)
		i++
	}
}
