package policy

import "time"

// Running totals are what meters have come to. What they grew by has come since their
// last word: within a shot or two as a rule, over days where a gateway was away.

const (
	// mostAtOnce is the share of the container's volume that can have come between two
	// words of a total besides what the emitters can have given in the time, and
	// flowMargin how many times what is told of them they may give; shotMargin how many of
	// the site's largest shots a meter may tell at once (common practice, no source).
	mostAtOnce = 0.1
	flowMargin = 2
	shotMargin = 2
	// missedAfter is how long a total must have been silent for more than one shot to be
	// water of another time (common practice, no source). Meters that speak when they have
	// counted something are silent all night, and what they say then is the day's first shot.
	missedAfter = 2 * time.Hour
)

// most bounds what can have come to one container, mL: at once, and by the hour.
func (z *Zone) most() (atOnce, perHour float64) {
	volume := z.ground.constants.VolumeML
	perHour = volume // of unknown emitters
	if flow := z.settings.Emitters.FlowMLPerS(); flow > 0 {
		perHour = flowMargin * 3600 * flow
	}
	return max(mostAtOnce*volume, shotMargin*z.ground.limits.MaxShotML), perHour
}

// countsTotals tells a zone whose irrigation is reported as a running total.
func (z *Zone) countsTotals(at int64) bool {
	r := &z.m.Irrigated
	return r.AtMs != 0 && at-r.AtMs < (48*time.Hour).Milliseconds()
}

// irrigated takes a running total of irrigation, mL.
func (z *Zone) irrigated(total float64, at int64) {
	atOnce, perHour := z.most()
	ml, over := z.m.Irrigated.step(at, total, atOnce, perHour)
	switch {
	case ml <= 0:
	case over > missedAfter.Milliseconds() && ml > atOnce:
		z.m.Learned.Missed(&z.ground.constants, at-over, at, ml)
	default:
		z.m.Learned.Water(&z.ground.constants, at, ml, true)
		z.noteWater(at)
	}
}

// drainedTotal takes a running total of drain, mL.
func (z *Zone) drainedTotal(total float64, at int64) {
	atOnce, perHour := z.most()
	ml, over := z.m.Drained.step(at, total, atOnce, perHour)
	if over > missedAfter.Milliseconds() && ml > atOnce {
		ml = 0 // of another time; nothing hangs on a sum of drain
	}
	z.m.Learned.Drain(&z.ground.constants, at, ml)
}
