package policy

import (
	"math"
	"time"

	"rhizostat/policy/diagnose"
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
	l = z.settings.Limits
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
	if _, ml, ok := z.undelivered(at); ok && ml < l.MaxDailyML {
		l.MaxDailyML = ml
	}
	return l, wasted
}

const (
	// undeliveredAt is the probability of a fault by which water does not arrive from which
	// the day's water is bounded, and undeliveredMore how many times what was usual it may
	// come to (common practice, no source): enough for a hot day, no more through emitters
	// that are left than they are meant for.
	undeliveredAt   = 0.5
	undeliveredMore = 1.25
	// usualWeight is the weight of a new day in what is usual, about five days, and moreWeight
	// that of one that got more: a zone's first days are no measure.
	usualWeight, moreWeight = 0.2, 0.6
)

// undelivered is the fault by which the zone's water likely does not arrive, and the
// most that a day may give until someone has looked, mL; false while there is none.
// What is learned of shots that do not arrive is that they lift the zone less, and a plan
// would answer that with more of them.
func (z *Zone) undelivered(at int64) (cause diagnose.Cause, mostML float64, ok bool) {
	cause, p, _, wrong := z.m.Diagnosis.Leading()
	// What the zone used to drink while it was in its band must come, too.
	usual := max(z.m.Plans.UsualML, float64(z.m.Diagnosis.Fast.Dry.UptakeML)/(1-z.ground.band.DrainFraction))
	if !wrong || p < undeliveredAt || z.m.Plans.UsualML <= 0 || cause != diagnose.EmitterFault && cause != diagnose.ValveStuckClosed {
		return 0, 0, false
	}
	if len(z.m.Diagnosis.Findings(at, z.naming())) == 0 {
		return 0, 0, false // what cannot say why is said to nobody
	}
	return cause, undeliveredMore * usual, true
}

// usualDay takes the water of a day that has ended.
func (z *Zone) usualDay() {
	p := &z.m.Plans
	ml := z.m.Learned.Sums24h().IrrigationML
	if _, _, _, wrong := z.m.Diagnosis.Leading(); wrong || ml <= 0 {
		return
	}
	if p.UsualML == 0 {
		p.UsualML = ml
	}
	weight := usualWeight
	if ml > p.UsualML {
		weight = moreWeight
	}
	p.UsualML += weight * (ml - p.UsualML)
}

// enough is the water that will do for a day after one of which most drained, mL, 0 where
// it did not.
func (z *Zone) enough(at int64) float64 {
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
