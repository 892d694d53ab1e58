package policy

import "rhizostat/policy/diagnose"

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

// undelivered is the most that a day may give, mL, while the zone's water likely does not
// arrive and until someone has looked; false where nothing speaks for that.
// What is learned of shots that do not arrive is that they lift the zone less, and a plan
// would answer that with more of them.
func (z *Zone) undelivered(at int64) (mostML float64, ok bool) {
	cause, p, _, wrong := z.m.Diagnosis.Leading()
	// What the zone used to drink while it was in its band must come, too.
	usual := max(z.m.Plans.UsualML, float64(z.m.Diagnosis.Fast.Dry.UptakeML)/(1-z.ground.band.DrainFraction))
	if !wrong || p < undeliveredAt || z.m.Plans.UsualML <= 0 || cause != diagnose.EmitterFault && cause != diagnose.ValveStuckClosed {
		return 0, false
	}
	if len(z.m.Diagnosis.Findings(at, z.naming())) == 0 {
		return 0, false // what cannot say why is said to nobody
	}
	return undeliveredMore * usual, true
}

// usualDay takes the water of a day that has ended at an instant.
func (z *Zone) usualDay(at int64) {
	if !z.ofOnePot(at) {
		return
	}
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
