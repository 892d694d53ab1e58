package policy

import (
	"math"
	"time"

	"rhizostat/policy/plan"
)

const (
	// wastedShare is the share of a day's water from which its drain says that more
	// would only drain, too, and amply how many times what was drunk a day may give then
	// at least (common practice, no source).
	wastedShare = 0.5
	amply       = 2
	// stands is by how much the water content of a zone that stands may be lower than a
	// day before, m3/m3, and lessADay what is left of a day's water where it does: it
	// did with less (common practice, no source).
	stands   = 0.005
	lessADay = 0.8
)

// limits are the site's for an irrigation day, and whether the drain of the day before
// lowered them: where more than half of what was given drained, a zone that is still
// thought too dry has other troubles than too little water. Roots fill the pores, or it
// runs past them, and more would end on the floor. What was given then is kept up; where
// the water content stood meanwhile a little less will do, and at least a good deal more
// than was drunk. It is settled with the day's first plan.
func (z *Zone) limits(at int64, day IrrigationDay) (l plan.Limits, wasted bool) {
	l = z.ground.limits
	start, e := day.Start.UnixMilli(), &z.m.Plans.Enough
	if e[0].DayMs != start && e[1].DayMs != start {
		older := 0
		if e[1].DayMs < e[0].DayMs {
			older = 1
		}
		e[older] = enough{start, z.enough(at)}
	}
	for i := range e {
		if e[i].DayMs == start && e[i].ML > 0 && e[i].ML < l.MaxDailyML {
			l.MaxDailyML, wasted = e[i].ML, true
		}
	}
	if ml, ok := z.undelivered(at); ok && ml < l.MaxDailyML {
		l.MaxDailyML = ml
	}
	return l, wasted
}

// ofOnePot tells whether all of the last 24 h's water was given to the container that the
// roots are in: what another got and let through says nothing of this one.
func (z *Zone) ofOnePot(at int64) bool {
	repotted := z.m.Plans.RepottedMs
	return repotted == 0 || at-repotted >= 24*time.Hour.Milliseconds()
}

// enough is the water that will do for a day after one of which most drained, mL, 0 where
// it did not.
func (z *Zone) enough(at int64) float64 {
	if !z.ofOnePot(at) {
		return 0
	}
	sums := z.m.Learned.Sums24h()
	if !sums.DrainReported || sums.DrainML < wastedShare*sums.IrrigationML {
		return 0
	}
	given := sums.IrrigationML
	if then, ok := z.m.Learned.History.LevelAt(at - 24*time.Hour.Milliseconds()); ok && z.m.Learned.Shown() > then-stands {
		given *= lessADay
	}
	return math.Max(given, amply*sums.UptakeML)
}
