package plan

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
)

// season is a zone whose days turn out differently from what was expected of
// them: the crop drinks more or less, the readings are off, a shot stays less.
type season struct {
	daySD, bias float64 // spread of a day's uptake; reading less truth
	capture     float64
	byClock     bool
	seed        uint64
}

// result sums a season up.
type result struct {
	days, withheld        int
	inBand, daytime       float64 // h
	saturated             float64 // h
	drybackOff            []float64
	given, drained, shots float64
}

// follower is a controller with a plan.
type follower struct {
	sp      *advice.Setpoints
	water   bool
	byClock bool
	rewet   bool
	given   float64
	next    int
	last    time.Time
}

func (f *follower) take(p *Proposal) {
	f.sp, f.water, f.rewet, f.given, f.next = p.Setpoints, p.Action != advice.Withhold, true, 0, 0
}

// shot is what the controller gives at an instant when it reads a water content.
func (f *follower) shot(at time.Time, reading float64) float64 {
	if f.sp == nil || !f.water {
		return 0
	}
	if f.byClock {
		if f.next < len(f.sp.Schedule) && !f.sp.Schedule[f.next].At.After(at) {
			f.next++
			return float64(f.sp.Schedule[f.next-1].VolumeML)
		}
		return 0
	}
	v := float64(f.sp.ShotVolumeML)
	if at.Before(f.sp.FirstShotAt) || at.After(f.sp.LastShotBy) || at.Sub(f.last).Seconds() < float64(f.sp.MinIntervalS) || f.given+v > float64(f.sp.MaxVolumeML) {
		return 0
	}
	f.rewet = f.rewet && reading < f.sp.TargetWaterContent
	if !f.rewet && reading > f.sp.TriggerWaterContent {
		return 0
	}
	f.last = at
	f.given += v
	return v
}

// coming are the shots that the controller still gives by its schedule.
func (f *follower) coming(g *grid) []forecast.Shot {
	var shots []forecast.Shot
	for _, x := range f.sp.Schedule {
		if k := g.stepAtOrAfter(x.At); k >= 0 {
			shots = append(shots, forecast.Shot{Step: k, VolumeML: float64(x.VolumeML)})
		}
	}
	return shots
}

// play plans each evening and follows the plan through the next day.
func (x season) play(r *Request, days int) result {
	rng := rand.New(rand.NewPCG(x.seed, 7))
	var s Scratch
	var res result
	var p Proposal
	sit := *r.Situation
	w, lastPeak, usual := sit.WaterContent, 0.60, sit.UptakeML
	f := follower{byClock: x.byClock}
	for day := range days {
		later := time.Duration(day) * 24 * time.Hour
		night, q := sit, *r
		night.At = sit.At.Add(later)
		night.WaterContent = clamp(w+x.bias+0.002*rng.NormFloat64(), 0.05, 0.95)
		q.Situation, q.LastPeak, q.Previous = &night, lastPeak+x.bias, p.Setpoints
		q.DayStart, q.DaytimeEnd, q.NextDayStart = q.DayStart.Add(later), q.DaytimeEnd.Add(later), q.NextDayStart.Add(later)
		g := newGrid(&q)
		if f.sp != nil {
			q.Committed = f.coming(&g)
		}
		p = Best(&q, &s)
		if p.Action == advice.Withhold {
			res.withheld++
		}
		factor := math.Exp(x.daySD * rng.NormFloat64())
		first := false
		for k := range 288 { // from evening to evening
			at := g.at(k)
			if k == 144 {
				f.take(&p)
				first = true
			}
			shot := f.shot(at, w+x.bias+0.002*rng.NormFloat64())
			var shots []forecast.Shot
			if shot > 0 {
				shots = []forecast.Shot{{VolumeML: shot}}
				res.shots++
				res.given += shot
				if first && day > 0 {
					res.drybackOff = append(res.drybackOff, math.Abs(lastPeak-w-r.Band.OvernightDryback))
				}
				first = false
			}
			one := forecast.Situation{At: at, WaterContent: w, VolumeML: sit.VolumeML, Capacity: sit.Capacity - x.bias, Capture: x.capture,
				DrainTimeS: sit.DrainTimeS, UptakeML: []float64{usual[k] * factor}, UptakeFullAt: sit.UptakeFullAt, UptakeNoneAt: sit.UptakeNoneAt}
			var run forecast.Run
			one.Forward(shots, &run)
			w = run.WaterContent[1]
			if shot > 0 {
				lastPeak = w
			}
			res.drained += run.DrainML[0]
			if h := at.Hour(); h >= 6 && h < 18 {
				res.daytime += stepHours
				if w >= r.Band.RefillPoint && w <= r.Band.FullPoint {
					res.inBand += stepHours
				}
			}
			if w > r.SaturationPoint {
				res.saturated += stepHours
			}
		}
		res.days++
	}
	return res
}

func (res *result) drybackShare() float64 {
	n := 0
	for _, off := range res.drybackOff {
		if off <= 0.012 {
			n++
		}
	}
	return float64(n) / float64(len(res.drybackOff))
}

// Forty days each, the crop drinking 12 % more or less than expected from day to
// day: the zone stays in its band, dries back as wanted on most nights and drains
// what is wanted. By clock a plan cannot follow the crop, so it keeps less of the
// day. Biased readings (0.01 m3/m3) and a worse capture than believed (0.85 for
// 0.93) are borne, too; what does not stay then drains.
func TestSeasons(t *testing.T) {
	sound, biased := season{0.12, 0, 0.93, false, 1}, season{0.12, 0.01, 0.85, false, 2}
	clock := season{0.12, 0, 0.93, true, 1}
	for _, c := range []struct {
		name           string
		r              *Request
		x              season
		inBand, nights float64
		drain          [2]float64
	}{
		{"usual", pot(7000, 1300), sound, 0.98, 0.85, [2]float64{0.05, 0.15}},
		{"usual", pot(7000, 1300), clock, 0.9, 0.85, [2]float64{0.05, 0.15}},
		{"usual", pot(7000, 1300), biased, 0.95, 0.85, [2]float64{0.14, 0.20}},
		{"mild", pot(7000, 500), sound, 0.98, 0.9, [2]float64{0.05, 0.15}},
		{"mild", pot(7000, 500), clock, 0.98, 0.9, [2]float64{0.05, 0.15}},
		{"drainy", drainy(), sound, 0.88, 0.8, [2]float64{0.19, 0.30}},
		{"drainy", drainy(), clock, 0.86, 0.9, [2]float64{0.19, 0.30}},
		{"thirsty", pot(12000, 4000), sound, 0.98, 0.8, [2]float64{0.05, 0.15}},
		{"thirsty", pot(12000, 4000), clock, 0.78, 0.8, [2]float64{0.05, 0.15}},
		{"tiny", pot(300, 200), sound, 0.96, 0.35, [2]float64{0.05, 0.15}}, // a shot is three times what a night may be off
		{"tiny", pot(300, 200), clock, 0.6, 0.6, [2]float64{0.05, 0.16}},
	} {
		res := c.x.play(c.r, 40)
		inBand, nights, drain := res.inBand/res.daytime, res.drybackShare(), res.drained/math.Max(1, res.given)
		t.Logf("%-8s %+v: in band %.3f, saturated %.1f h, nights within 0.012 %.2f, drain %.3f (wanted %.2f), shots a day %.1f, withheld %d", c.name, c.x,
			inBand, res.saturated, nights, drain, c.r.Band.DrainFraction, res.shots/float64(res.days), res.withheld)
		if inBand < c.inBand || nights < c.nights || drain < c.drain[0] || drain > c.drain[1] || res.saturated > 0 {
			t.Errorf("%s %+v: %.3f of the daytime in the band, %.2f of the nights, %.3f drain, %.1f h saturated", c.name, c.x, inBand, nights, drain, res.saturated)
		}
	}
}
