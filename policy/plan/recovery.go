package plan

import (
	"math"

	"rhizostat/policy/advice"
	"rhizostat/policy/hydraulics"
)

// Recovery after a transplant or a root disturbance: few roots drink little and
// drown easily, so the band is narrower at both ends, the night dries back
// less, and the numbers move little from day to day. The shares are common
// practice, no source.
const (
	recoveryFull      = 0.15 // of the band's width, taken off the top
	recoveryRefill    = 0.25 // and off the bottom
	recoveryDryback   = 0.6  // of the overnight dryback wanted
	recoveryShotShare = 0.6  // of the largest shot
	recoveryMoveSteps = 9    // the first shot moves at most 45 min, the last comes earlier by at most as much
	recoveryMoveTicks = 2
	recoveryMoveShot  = 1.3 // a shot grows or shrinks at most by this factor
)

// recoveryBand is the steadier band of a recovering zone.
func recoveryBand(b hydraulics.Band) hydraulics.Band {
	w := b.Width()
	if w > 2*hydraulics.MinBandWidth {
		b.FullPoint -= recoveryFull * w
		b.RefillPoint += recoveryRefill * w
	}
	b.OvernightDryback *= recoveryDryback
	return b
}

// fitsML is the water that a recovering zone has a use for on the day that is planned, whole
// mL: what fills it to its full point, what is drunk on a thirsty day, and the drain that is
// wanted on top, where as much of it stays as may. What is believed of that share is at first of
// before the roots were disturbed: water that is given because much of it would run past stands
// in the container if it does not. Once shots have told that it still runs past, it is given.
func (s *Scratch) fitsML() float64 {
	m, sit := &s.members[0], s.req.Situation
	room := math.Max(0, s.band.FullPoint-m.start) * sit.VolumeML
	drinks := (s.drunk[s.grid.next] - s.drunk[s.grid.dayStart]) * s.members[2].uptake
	return math.Ceil((room + drinks) / s.members[3].capture / (1 - s.salt.wanted))
}

// boundChange keeps a recovering zone's plan near the one before.
func (s *Scratch) boundChange(c *candidate) {
	p := &s.before
	near := func(x, to, by int) int { return min(max(x, to-by), to+by) }
	c.first = max(near(c.first, p.first, recoveryMoveSteps), s.grid.first)
	// Later it may come as late as it takes: roots that come back drink more within days, and
	// a window laid for the few there were would dry them back by twice what they ever had.
	c.last = max(c.last, p.last-recoveryMoveSteps, c.first)
	was := float64(s.volumes[p.shot].ml)
	for c.shot > p.shot && float64(s.volumes[c.shot].ml) > was*recoveryMoveShot {
		c.shot--
	}
	for c.shot < p.shot && float64(s.volumes[c.shot].ml)*recoveryMoveShot < was {
		c.shot++
	}
	c.target = min(max(near(c.target, p.target, recoveryMoveTicks), s.leastTrigger+1), s.mostTarget)
	c.trigger = min(max(near(c.trigger, p.trigger, recoveryMoveTicks), s.leastTrigger), c.target-1)
}

// candidateOf lays the plan before on the grid of this day, as near as it goes.
func (s *Scratch) candidateOf(sp *advice.Setpoints) (candidate, bool) {
	if sp == nil || sp.FirstShotAt.IsZero() || sp.ShotVolumeML <= 0 || len(s.volumes) == 0 {
		return candidate{}, false
	}
	c := candidate{
		trigger: int(math.Round(sp.TriggerWaterContent / Tick)),
		target:  int(math.Round(sp.TargetWaterContent / Tick)),
	}
	for i, v := range s.volumes {
		if math.Abs(float64(v.ml-sp.ShotVolumeML)) < math.Abs(float64(s.volumes[c.shot].ml-sp.ShotVolumeML)) {
			c.shot = i
		}
	}
	c.first = s.stepOfDay(sp, sp.FirstShotAt)
	c.last = c.first + int(math.Round(sp.LastShotBy.Sub(sp.FirstShotAt).Minutes()/5))
	return c, true
}
