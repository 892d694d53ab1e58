package policy

import (
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/learning"
)

// coming are the shots of the coming steps under the standing advice: the one
// in force, then the one that follows it. Where none stands, the zone is taken
// to be watered as in the last 24 h.
func (z *Zone) coming(at int64, steps int) []forecast.Shot {
	shots := z.scratch.shots[:0]
	for k := range steps {
		from := at + int64(k)*forecast.Step.Milliseconds()
		to := from + forecast.Step.Milliseconds()
		volume := 0.0
		if q := z.standingAt(instant(from)); q != nil {
			volume = scheduledBetween(q.Advice.Setpoints, instant(from), instant(to))
		} else {
			volume = z.yesterday(from)
		}
		if volume > 0 {
			shots = append(shots, forecast.Shot{Step: k, VolumeML: volume})
		}
	}
	z.scratch.shots = shots
	return shots
}

// yesterday is the water given 24 h before a step. The zone remembers quarters
// of an hour: the first step of each gets it whole.
func (z *Zone) yesterday(from int64) float64 {
	const day, step = 24 * 3600 * 1000, int64(forecast.Step / time.Millisecond)
	bin := from - from%learning.HistoryBin
	if from-bin >= step {
		return 0
	}
	return z.m.Learned.GivenBetween(&z.ground.constants, bin-day, bin-day+learning.HistoryBin)
}

// standingAt is the advice that holds at an instant, if people let it: the
// newest one valid then that is approved, else one that waits for them.
func (z *Zone) standingAt(t time.Time) *planned {
	var found *planned
	for i := range z.plans {
		q := &z.plans[i]
		if q.Advice.Setpoints == nil || t.Before(q.Advice.ValidFrom) || !t.Before(q.Advice.ValidUntil) {
			continue
		}
		if q.State == StateApproved || q.State == StatePending && (found == nil || found.State != StateApproved) {
			found = q
		}
	}
	return found
}

func scheduledBetween(s *advice.Setpoints, from, to time.Time) float64 {
	sum := 0
	for i := range s.Schedule {
		if shot := &s.Schedule[i]; !shot.At.Before(from) && shot.At.Before(to) {
			sum += shot.VolumeML
		}
	}
	return float64(sum)
}
