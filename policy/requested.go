package policy

import (
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/learning"
	"rhizostat/policy/plan"
)

// nightReach is how far beyond the next day's start a plan looks, so that the night
// ends in it.
const nightReach = 6 * time.Hour

// request gathers what a plan rests on.
func (z *Zone) request(at int64, day IrrigationDay) *plan.Request {
	now := instant(at)
	s := &z.scratch.planned
	steps := int(day.Next.Add(nightReach).Sub(now)/forecast.Step) + 1
	forecast.Build(&z.m.Learned, &z.ground.constants, at, steps, s)
	band, _ := z.bandOf(day.Start)
	limits, wasted := z.limits(at, day)
	r := &plan.Request{
		Situation: s, DayStart: day.Start, DaytimeEnd: day.DaytimeEnd, NextDayStart: day.Next, Location: z.settings.Location,
		Band: band, SaturationPoint: z.ground.saturated, TotalPorosity: z.ground.profile.TotalPorosity(),
		Limits: limits, Wasted: wasted, Priorities: z.settings.Priorities, FlowMLPerS: z.settings.Emitters.FlowMLPerS(),
		LevelSD: z.m.Panel.Consensus.LevelSD(), ByClock: z.byClock(), Salt: z.salt(at, day.Start), Recovering: z.m.Diagnosis.Recovering(at),
		Quorum: z.quorum(at), Healthy: z.m.Panel.Healthy(at), Needed: max(z.settings.Quorum, 1),
		Earliest: z.earliest(at, day),
		Previous: z.previous(), Probes: z.readingsByProbe(),
		LastPeak: z.m.Learned.Shots.LastHeld, CapacityShift: z.m.Plans.DrainShift, Gain: z.m.Learned.Gain.Mean,
	}
	r.ReadsLow, r.Holds = z.readsLow()
	if last := z.m.Learned.Shots.LastMs; last != 0 && at-last < 2*24*time.Hour.Milliseconds() {
		r.LastShotAt = instant(last)
	}
	if day.Start.After(now) {
		r.Committed = z.coming(at, int(day.Start.Sub(now)/forecast.Step))
		return r
	}
	r.GivenML = z.givenSince(day.Start.UnixMilli(), at)
	lead := int(r.Earliest.Sub(now) / forecast.Step)
	if q := z.inForce(at); q != nil && lead > 0 && q.Advice.Action != advice.Withhold {
		r.Committed = z.coming(at, lead)
		for i := range r.Committed {
			r.GivenML += r.Committed[i].VolumeML
		}
	}
	r.TargetReached = z.m.Cycle.SeenDayMs == z.today.fromMs && z.m.Cycle.FirstReachedMs != 0
	return r
}

// earliest is when an advice of now for an irrigation day can give its first shot: a person has
// to decide on it before. Where a plan with water for this container is in force on that day,
// which goes on until another is approved, nothing presses; the one of today does not go on
// tomorrow.
func (z *Zone) earliest(at int64, day IrrigationDay) time.Time {
	takes := z.m.Plans.Deciding.time()
	if q := z.inForce(at); q != nil && q.Advice.ValidUntil.After(day.Start) && q.Advice.Action != advice.Withhold && q.Advice.IssuedAt.UnixMilli() >= z.m.Plans.RepottedMs {
		takes = max(takes, calmDecideTime)
	}
	return instant(at).Add(z.settings.DecideBeforeFirstShot + takes)
}

// givenSince is the water given since an instant of the last day, mL: by whole quarters of
// an hour, the one that is running among them.
func (z *Zone) givenSince(from, at int64) float64 {
	return z.m.Learned.GivenBetween(&z.ground.constants, from, at+learning.HistoryBin)
}

// salt is what is known of the zone's salt, and what is wanted on an irrigation
// day.
func (z *Zone) salt(at int64, dayStart time.Time) plan.Salt {
	var s plan.Salt
	if ec := z.m.PoreEC.known(at, slowAge); ec != nil {
		s.PoreEC, s.PoreKnown = *ec, true
	}
	if ec := z.m.FeedEC.known(at, 7*24*time.Hour); ec != nil {
		s.FeedEC, s.FeedKnown = *ec, true
	} else if z.settings.FeedEC > 0 {
		s.FeedEC, s.FeedKnown = z.settings.FeedEC, true
	}
	if wanted := z.specOf(z.stageOf(dayStart)).PoreEC; wanted != nil {
		s.WantedEC, s.WantedKnown = *wanted, true
	}
	return s
}

// previous is the newest plan with water that people let stand, made for this container and
// of a zone that was known: another's numbers, and guesses, are none to stay near.
func (z *Zone) previous() *advice.Setpoints {
	for i := len(z.plans) - 1; i >= 0; i-- {
		q := &z.plans[i]
		if q.Advice.IssuedAt.UnixMilli() < max(z.m.Plans.RepottedMs, z.m.FirstMs+youngFor.Milliseconds()) {
			break
		}
		if q.Advice.Setpoints != nil && q.Advice.Setpoints.ShotVolumeML > 0 && q.State != StateRejected && q.State != StateWithdrawn {
			return q.Advice.Setpoints
		}
	}
	return nil
}

// lowestReading is how many standard deviations below its course the lowest of
// about ten readings lies: the mean of the least of ten standard normals is -1.54
// (Tippett 1925; from memory).
const lowestReading = 1.54

// readingsByProbe says what each healthy probe reads when the zone's water
// content is known: its place in the profile, its own learned offset, and how far
// below its course the lowest of some readings lies. A controller that compares
// single readings with a trigger acts on the lowest.
func (z *Zone) readingsByProbe() []plan.ProbeReading {
	var out []plan.ProbeReading
	for i := range z.settings.Probes {
		offset, known := z.m.Panel.Consensus.Offset(i)
		if !known || !z.health(i, z.m.NowMs).Usable() {
			continue
		}
		table, weighs := z.ground.tables[i], z.settings.Probes[i].Calibration.Kind == "weight"
		lowest := lowestReading * float64(z.m.Panel.Health.At(i).Noise)
		out = append(out, plan.ProbeReading{ID: z.settings.Probes[i].ID, Reading: func(mean float64) float64 {
			if weighs {
				return mean + offset - lowest
			}
			return table.Reading(mean+offset) - lowest
		}})
	}
	return out
}
