package learning

import "math"

// gaugeBelieved tells whether the drain reported over the last 24 h counts: where the
// balance can be off it by as much. A blocked or missing tray reports next to nothing
// on a well-watered day, and then the balance counts, unless the gauge is known to
// work. Where nobody reports what is given, more drain than the balance knows of is no
// contradiction.
func (z *Zone) gaugeBelieved(s *Sums) bool {
	a := &z.Account
	if a.DrainMs == 0 || z.AtMs-a.DrainMs >= 2*dayMs {
		return false
	}
	more, off := s.ReportedDrainML-s.DrainML, balanceOff(s)
	less := off
	if z.gaugeCatches(s) {
		less = z.gainOff(s)
	}
	return (more > -less || z.gaugeWorks(s)) && (more < off || !z.Reports())
}

// balanceOff is how far off a day's drain the balance may be, mL.
func balanceOff(s *Sums) float64 {
	return gaugeOff * math.Hypot(uptakeOff*s.UptakeML, givenOff*s.IrrigationML)
}

// gainOff is the same where what is not known of the gain counts, too: drinking is a fall
// that is seen through it, and of a zone's first days nobody knows whether its probes see all
// of that fall or half. The gain is learned from the very days whose drain is believed.
func (z *Zone) gainOff(s *Sums) float64 {
	gain := z.Gain.SD() / math.Max(z.Gain.Mean, gainPace.low)
	return gaugeOff * math.Hypot(math.Hypot(uptakeOff, gain)*s.UptakeML, givenOff*s.IrrigationML)
}

// gaugeCatches tells a gauge that catches at least half of what runs past a substrate that
// is not full, as a blocked or missing tray does not.
func (z *Zone) gaugeCatches(s *Sums) bool {
	return s.ReportedDrainML > 0.5*(1-z.Capture.Mean)*s.IrrigationML
}

// gaugeWorks tells whether less drain than the balance asks for is the balance's
// error: the gauge was right on a day that drained not long ago, and still catches
// something. A probe that sees less
// of the drinking than the container does makes drain of what was drunk, and a zone
// watered by that would be given less day by day.
func (z *Zone) gaugeWorks(s *Sums) bool {
	a := &z.Account
	return a.WorksMs != 0 && z.AtMs-a.WorksMs < gaugeDays*dayMs && z.gaugeCatches(s)
}

// gaugeDays is for how long a gauge that worked is taken to work, d (common practice,
// no source: trays are looked after weekly).
const gaugeDays = 7

// watchGauge notes a day on which much drained and gauge and balance agreed.
func (z *Zone) watchGauge() {
	s := z.summed24h()
	if z.Account.DrainMs == 0 || !z.Reports() || math.Abs(s.ReportedDrainML-s.DrainML) > balanceOff(&s) {
		return
	}
	if s.ReportedDrainML > drainShows*s.IrrigationML && s.IrrigationML > 0 {
		z.Account.WorksMs = z.AtMs
	}
}
