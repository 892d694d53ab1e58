package plan

import (
	"math"
	"time"

	"rhizostat/policy/advice"
)

// stepOfDay gives the step of an instant of a plan, moved by whole days of the
// clock into the planned one.
func (s *Scratch) stepOfDay(sp *advice.Setpoints, t time.Time) int {
	loc := s.req.Location
	l := t.In(loc)
	y, m, d := s.req.DayStart.In(loc).Date()
	moved := time.Date(y, m, d, l.Hour(), l.Minute(), l.Second(), 0, loc)
	if moved.Before(s.req.DayStart) {
		moved = time.Date(y, m, d+1, l.Hour(), l.Minute(), l.Second(), 0, loc)
	}
	return s.grid.stepBefore(moved)
}

// change is what it costs people that the numbers move.
func (s *Scratch) change(c *candidate) float64 {
	if !s.hasBefore || c.none {
		return 0
	}
	p := &s.before
	moved := math.Abs(float64(c.first-p.first))/12 + math.Abs(float64(c.last-p.last))/12 +
		math.Abs(float64(c.trigger-p.trigger))/4 + math.Abs(float64(c.target-p.target))/4 +
		3*math.Abs(math.Log(float64(s.volumes[c.shot].ml)/float64(s.volumes[p.shot].ml)))
	if s.req.Recovering {
		return weightChangeRecovery * moved
	}
	return weightChange * moved
}

// Rescore costs a standing plan for what is left of its day, on the same footing
// as Best: nil setpoints, or those of a withhold, are a day without water. What
// lies before now has happened and is not given again.
func Rescore(standing *advice.Setpoints, r *Request, s *Scratch) Score {
	s.begin(r)
	k := controls{none: true}
	s.schedule = s.schedule[:0]
	if standing != nil && !standing.FirstShotAt.IsZero() && standing.ShotVolumeML > 0 {
		g := &s.grid
		k = controls{
			first: max(0, g.stepAtOrAfter(standing.FirstShotAt)), last: g.stepBefore(standing.LastShotBy),
			interval: max(1, int(math.Ceil(float64(standing.MinIntervalS)/300-1e-9))),
			shotML:   float64(standing.ShotVolumeML), capML: float64(standing.MaxVolumeML) - r.GivenML,
			trigger: standing.TriggerWaterContent, target: standing.TargetWaterContent,
		}
		for _, shot := range standing.Schedule {
			at := g.stepAtOrAfter(shot.At)
			if shot.At.Before(r.Situation.At) || at < g.dayStart || at >= g.next {
				continue
			}
			if n := len(s.schedule); n > 0 && s.schedule[n-1].step >= at {
				s.schedule[n-1].ml += float64(shot.VolumeML)
				continue
			}
			s.schedule = append(s.schedule, slot{at, float64(shot.VolumeML)})
		}
	}
	score := s.both(&k, nil, allMembers, math.Inf(1))
	score.total()
	return score
}

// When a standing plan gives way: keeping it must cost this much more, in hours
// of daytime outside the band, and this share of its own cost: a third of a
// usual daytime of twelve hours, and as much again for each time that people were
// asked about the day before. Near a hard limit less will do, though still a share:
// of a day that is lost either way nobody need be told anew every three hours.
// Common practice, no source.
const (
	materialHours     = 4.0
	materialShare     = 0.3
	materialHoursHard = 0.5
	materialShareHard = 0.15
	// A dryback, a drain fraction or an EC that is off can wait for the evening's
	// plan, and each counts little and only so far, h; water that is lacking or too
	// much cannot wait.
	canWait     = 0.2
	canWaitMost = 3.0
)

// urgent is the part of a cost for which a person may be asked during the day.
func (s *Score) urgent() float64 {
	sum := s.Band + s.Saturation
	for _, x := range [...]float64{s.OvernightDryback, s.NightStart, s.DrainFraction, s.PoreEC} {
		sum += canWait * math.Min(x, canWaitMost)
	}
	return sum
}

// Keep tells whether the standing plan stays: unless keeping it costs
// materially more than the best one in what cannot wait, or a hard limit is near
// that the best one keeps away from. Asked is how often people were asked about
// the running day already.
func Keep(standing, best Score, asked int) bool {
	more, hours, share := standing.urgent()-best.urgent(), materialHours, materialShare
	if standing.HardLimitNear && !best.HardLimitNear {
		hours, share = materialHoursHard, materialShareHard
	}
	return more < math.Max(hours*float64(1+max(0, asked)), share*standing.urgent())
}

// Superseded says why the standing plan gives way to the best one.
func Superseded(standing, best Score) advice.Reason {
	return advice.Say("superseded-materially", advice.Number(math.Round(standing.urgent())), advice.Number(math.Round(best.urgent())))
}
