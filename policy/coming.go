package policy

import (
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/learning"
)

// coming are the shots of the coming steps as they are likeliest, for a plan
// that has them before its day starts.
func (z *Zone) coming(at int64, steps int) []forecast.Shot {
	s := &z.scratch.situation
	forecast.Build(&z.m.Learned, &z.ground.constants, at, steps, s)
	return z.ways(s, at)[0].Shots
}

// leastWay is the probability below which a way of following setpoints is left
// out of a forecast: one in fifty.
const leastWay = 0.02

// ways are the ways in which the zone may be watered over the coming steps of a
// situation, the likeliest first. The advice that stands is followed by clock or by
// trigger; by trigger the water depends on what the crop will drink.
func (z *Zone) ways(s *forecast.Situation, at int64) []forecast.Way {
	clock := z.byClock()
	switch {
	case clock < leastWay:
		clock = 0
	case clock > 1-leastWay:
		clock = 1
	}
	m := z.scratch
	m.standing = m.standing[:0]
	for k := range s.UptakeML {
		m.standing = append(m.standing, z.standingAt(instant(at+int64(k)*forecast.Step.Milliseconds())))
	}
	balance := s.Balance()
	n := 0
	for _, middle := range [2]bool{true, false} {
		for _, byClock := range [2]bool{clock >= 0.5, clock < 0.5} {
			weight := clock
			if !byClock {
				weight = 1 - clock
			}
			for _, q := range forecast.Thirst {
				if weight == 0 || (q == 0) != middle || byClock && q != 0 {
					continue
				}
				way := &m.ways[n]
				n++
				way.Weight, way.Uptake = weight/float64(len(forecast.Thirst)), forecast.UptakeAt(q, s.UptakeRelSD)
				way.Shots = z.along(s, &balance, at, byClock, way.Uptake, m.wayShots[n-1][:0])
				m.wayShots[n-1] = way.Shots
				if byClock {
					way.Weight = weight
				}
			}
		}
	}
	return m.ways[:n]
}

// along appends the shots of the coming steps if the crop drinks a share of what
// is expected: by the advice that stands, else as in the last 24 h.
func (z *Zone) along(s *forecast.Situation, b *forecast.Balance, at int64, byClock bool, share float64, shots []forecast.Shot) []forecast.Shot {
	w := s.WaterContent
	f := follower{lastMs: z.m.Learned.Shots.LastMs}
	for k, q := range z.scratch.standing {
		from := at + int64(k)*forecast.Step.Milliseconds()
		to := from + forecast.Step.Milliseconds()
		volume := 0.0
		switch {
		case q == nil:
			volume = z.yesterday(from)
		case byClock:
			volume = scheduledBetween(q.Advice.Setpoints, from, to)
		default:
			if f.q != q {
				f.take(z, q, at)
			}
			volume = f.due(w, from)
		}
		if volume > 0 {
			shots = append(shots, forecast.Shot{Step: k, VolumeML: volume})
			f.lastMs = from
		}
		w, _, _ = b.Step(w, volume, share*s.UptakeML[k])
	}
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

func scheduledBetween(s *advice.Setpoints, from, to int64) float64 {
	sum := 0
	for i := range s.Schedule {
		if shot := &s.Schedule[i]; shot.At.UnixMilli() >= from && shot.At.UnixMilli() < to {
			sum += shot.VolumeML
		}
	}
	return float64(sum)
}
