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
	return (more > -off || z.gaugeWorks(s)) && (more < off || !z.Reports())
}

// balanceOff is how far off a day's drain the balance may be, mL.
func balanceOff(s *Sums) float64 {
	return gaugeOff * math.Hypot(uptakeOff*s.UptakeML, givenOff*s.IrrigationML)
}

// gaugeWorks tells whether less drain than the balance asks for is the balance's
// error: the gauge was right on a day that drained not long ago, and it still catches
// at least half of what runs past a substrate that is not full. A probe that sees less
// of the drinking than the container does makes drain of what was drunk, and a zone
// watered by that would be given less day by day.
func (z *Zone) gaugeWorks(s *Sums) bool {
	a := &z.Account
	return a.WorksMs != 0 && z.AtMs-a.WorksMs < gaugeDays*dayMs && s.ReportedDrainML > 0.5*(1-z.Capture.Mean)*s.IrrigationML
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
