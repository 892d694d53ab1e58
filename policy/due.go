package policy

import (
	"time"

	"rhizostat/policy/forecast"
)

// lookEvery is how often the engine looks around by itself: at the plan, the
// forecast and the faults.
const lookEvery = 5 * time.Minute

// due does what time has come for.
func (z *Zone) due(at int64) {
	c := &z.m.Cycle
	if at >= c.NextLookMs {
		c.NextLookMs = every(at, lookEvery) + lookEvery.Milliseconds()
		z.look(at)
	}
	if stateEvery := z.settings.StateEvery; at >= c.StateMs+stateEvery.Milliseconds() {
		c.StateMs = every(at, stateEvery)
		z.scratch.out.State = z.state(at)
	}
}

// nextWake is when the engine must be stepped next.
func (z *Zone) nextWake(int64) time.Time {
	c := &z.m.Cycle
	return instant(min(c.NextLookMs, c.StateMs+z.settings.StateEvery.Milliseconds()))
}

// look is what happens every five minutes.
func (z *Zone) look(at int64) {
	if z.m.FirstMs != 0 && at-z.m.Learned.SeenMs >= lookEvery.Milliseconds() && z.heardSince(z.m.Learned.SeenMs) {
		z.agree(at) // a probe that is late must not hold up the others for long
	}
	z.watchFlood(at)
	z.drained()
	z.reached(at)
	z.diagnoseNow(at)
	if half := every(at, forecast.IssueEvery*time.Millisecond); half > z.m.Cycle.ForecastMs {
		z.m.Cycle.ForecastMs = half
		z.score(half)
		z.forecast(at, half)
	}
	z.consider(at)
	z.looked(at)
}

// heardSince reports whether a probe that counts has spoken after an instant: the word of
// one that is ill makes no old reading of another new.
func (z *Zone) heardSince(at int64) bool {
	for i := range z.probes {
		if z.m.Panel.Consensus.Spoke(i, z.probes[i].AtMs) && z.probes[i].AtMs > at {
			return true
		}
	}
	return false
}

// reached notes when the rewet of the day was over.
func (z *Zone) reached(at int64) {
	c := &z.m.Cycle
	if c.SeenDayMs != z.today.fromMs || c.ShotsToday == 0 || c.FirstReachedMs != 0 {
		return
	}
	level, sd, ok := z.m.Learned.WaterContent()
	target := z.ground.band.FullPoint
	if p := z.inForce(at); p != nil && p.Advice.Setpoints != nil && p.Advice.Setpoints.TargetWaterContent > 0 {
		target = p.Advice.Setpoints.TargetWaterContent
	}
	if ok && level >= target-sd {
		c.FirstReachedMs = at
	}
}

// score holds the forecasts that come due against what came.
func (z *Zone) score(half int64) {
	n := z.m.Forecasts.Due(&z.m.Learned, &z.ground.constants, half, &z.scratch.scored)
	for _, s := range z.scratch.scored[:n] {
		if s.Variant != forecast.Plan || s.NotAsExecuted {
			continue
		}
		z.scratch.out.Scores = append(z.scratch.out.Scores, Score{
			Horizon: time.Duration(forecast.Horizons[s.Horizon]) * time.Hour, AbsoluteError: abs(s.Error), Covered: s.Covered,
		})
	}
}

// forecast works out the next 24 h; issue is the half hour it is taken down
// for, 0 when it is published between two of them.
func (z *Zone) forecast(at, issue int64) {
	if !z.current(at) {
		return
	}
	s := &z.scratch.situation
	forecast.Build(&z.m.Learned, &z.ground.constants, at, forecast.Steps24h, s)
	ways := z.ways(s, at)
	p := &z.scratch.published
	z.m.Forecasts.PublishWays(&z.m.Learned, &z.ground.constants, s, ways, p, &z.scratch.forecasts)
	if issue != 0 {
		z.m.Forecasts.Issue(&z.m.Learned, s, issue, p)
	}
	now, _, _ := z.waterContent(at)
	z.scratch.out.Forecast = &Forecast{
		IssuedAt: instant(at), Level: forecast.Level,
		Plan: course(&p.Plan, now), NoWater: course(&p.NoWater, now), AsUsual: course(&p.AsUsual, now),
	}
}

// course copies a band out of memory that is used again. It begins with the water content
// of now, as the state has it: the balance starts from what of that will stay.
func course(b *forecast.Band, now float64) Course {
	c := Course{
		WaterContent: append([]float64(nil), b.WaterContent...),
		Low:          append([]float64(nil), b.Low...),
		High:         append([]float64(nil), b.High...),
	}
	below, above := c.WaterContent[0]-c.Low[0], c.High[0]-c.WaterContent[0]
	c.WaterContent[0], c.Low[0], c.High[0] = now, max(0, now-below), min(1, now+above)
	return c
}

// stateScores puts the record of past forecasts into a state.
func (z *Zone) stateScores(s *State) {
	r := &z.m.Forecasts
	s.AdviceConfidence = r.Confidence()
	covered, count := 0.0, 0.0
	for h := range forecast.HorizonCount {
		t := &r.Tallies[forecast.Given][h]
		if t.Count == 0 {
			continue
		}
		s.ForecastError = append(s.ForecastError, HorizonError{time.Duration(forecast.Horizons[h]) * time.Hour, float64(t.AbsoluteError)})
		covered += float64(t.Coverage)
		count++
	}
	if count > 0 {
		s.ForecastCoverage = covered / count
	}
}

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}
