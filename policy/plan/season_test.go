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
	days                     int
	inBand, daytime          float64 // h
	saturated                float64 // h
	drybackOff               []float64
	given, drained, shots    float64
	asked, withheld, drynear int
}

// play plans each evening and follows the plan through the next day.
func (x season) play(r *Request, days int) result {
	rng := rand.New(rand.NewPCG(x.seed, 7))
	var s Scratch
	var res result
	sit := *r.Situation
	w, lastPeak := sit.WaterContent, 0.60
	usual := sit.UptakeML
	for range days {
		night := sit
		night.WaterContent = clamp(w+x.bias+0.002*rng.NormFloat64(), 0.05, 0.95)
		q := *r
		q.Situation, q.LastPeak = &night, lastPeak+x.bias
		p := Best(&q, &s)
		if p.Action == advice.Withhold {
			res.withheld++
		}
		factor := math.Exp(x.daySD * rng.NormFloat64())
		sp := p.Setpoints
		g := newGrid(&q)
		last, given, rewet, next, first := longAgo, 0.0, true, 0, true
		for k := range 288 { // from 18:00 to 18:00
			at := g.at(k)
			shot := 0.0
			if p.Action != advice.Withhold {
				if x.byClock {
					if next < len(sp.Schedule) && !sp.Schedule[next].At.After(at) {
						shot = float64(sp.Schedule[next].VolumeML)
						next++
					}
				} else if !at.Before(sp.FirstShotAt) && !at.After(sp.LastShotBy) && k-last >= sp.MinIntervalS/300 && given+float64(sp.ShotVolumeML) <= float64(sp.MaxVolumeML) {
					reading := w + x.bias + 0.002*rng.NormFloat64()
					rewet = rewet && reading < sp.TargetWaterContent
					if rewet || reading <= sp.TriggerWaterContent {
						shot = float64(sp.ShotVolumeML)
					}
				}
			}
			if shot > 0 {
				if first {
					first = false
					res.drybackOff = append(res.drybackOff, math.Abs(lastPeak-w-r.Band.OvernightDryback))
				}
				last = k
				given += shot
				res.shots++
			}
			one := forecast.Situation{At: at, WaterContent: w, VolumeML: sit.VolumeML, Capacity: sit.Capacity - x.bias, Capture: x.capture,
				DrainTimeS: sit.DrainTimeS, UptakeML: []float64{usual[k] * factor}, UptakeFullAt: sit.UptakeFullAt, UptakeNoneAt: sit.UptakeNoneAt}
			var run forecast.Run
			var shots []forecast.Shot
			if shot > 0 {
				shots = []forecast.Shot{{Step: 0, VolumeML: shot}}
			}
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
		res.given += given
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

func TestSeasons(t *testing.T) {
	for _, c := range []struct {
		name string
		r    *Request
	}{{"usual", pot(7000, 1300)}, {"mild", pot(7000, 500)}, {"drainy", drainy()}, {"thirsty", pot(12000, 4000)}, {"tiny", pot(300, 200)}} {
		for _, x := range []season{{0.12, 0, 0.93, false, 1}, {0.12, 0, 0.93, true, 1}, {0.12, 0.01, 0.85, false, 2}, {0.12, -0.01, 0.85, true, 3}} {
			res := x.play(c.r, 40)
			t.Logf("%-8s %+v: in band %.3f, saturated %.1f h, dryback ok %.2f, drain %.3f (wanted %.2f), shots/d %.1f, withheld %d", c.name, x,
				res.inBand/res.daytime, res.saturated, res.drybackShare(), res.drained/math.Max(1, res.given), c.r.Band.DrainFraction, res.shots/float64(res.days), res.withheld)
		}
	}
	_ = time.Second
}
