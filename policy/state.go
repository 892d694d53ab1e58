package policy

import (
	"time"

	"rhizostat/policy/learning"
	"rhizostat/policy/sensing"
)

// state gives what the engine believes now.
func (z *Zone) state(at int64) *State {
	m, g := &z.m, z.ground
	s := &State{
		Time: instant(at), FullPoint: g.band.FullPoint, RefillPoint: g.band.RefillPoint,
		DesignCapacity: g.profile.ContainerCapacity(), ApparentCapacity: m.Learned.Capacity.Mean,
		PoreEC: m.PoreEC.known(at, slowAge), SubstrateTemp: m.Temp.known(at, slowAge),
		LastDryback: m.Cycle.Depth, LastDrybackShare: m.Cycle.Share, OvernightDryback: m.Cycle.Overnight,
		SaturationS24h: m.Saturation.sum(at),
		StabilityIndex: m.Diagnosis.Stability(), Recovering: m.Diagnosis.Recovering(at),
		Quorum: z.quorum(at), Probes: z.probeStates(at), PartOfDay: z.partOfDay(at),
	}
	if s.ApparentCapacity == 0 {
		s.ApparentCapacity = s.DesignCapacity
	}
	z.stateTotals(s)
	if level, sd, ok := z.waterContent(at); ok {
		s.Known = true
		z.stateWater(s, level, sd, at)
	}
	s.Diagnosis = z.findings(at)
	z.stateScores(s)
	return s
}

func (z *Zone) stateTotals(s *State) {
	sums := z.m.Learned.Sums24h()
	s.UptakeML24h, s.IrrigationML24h, s.DrainML24h, s.DrainFraction24h = sums.UptakeML, sums.IrrigationML, sums.DrainML, sums.DrainFraction
	totals := z.shownTotals()
	s.Totals = Totals{
		SaturationS: z.m.Totals.Saturation, InBandS: z.m.Totals.InBand, AboveBandS: z.m.Totals.AboveBand, BelowBandS: z.m.Totals.BelowBand,
		UptakeML: totals.UptakeML, IrrigationML: totals.IrrigationML, DrainML: totals.DrainML,
	}
}

// shownTotals are the totals with what is running now. When a stretch of the
// account is closed it may come to a little less than it was thought to: what has
// been published stands until the account has caught up, for counters never fall.
func (z *Zone) shownTotals() learning.Totals {
	l, shown := &z.m.Learned, &z.m.Shown
	shown.IrrigationML = max(shown.IrrigationML, l.Account.Totals.IrrigationML)
	shown.UptakeML = max(shown.UptakeML, l.Account.Totals.UptakeML+l.Open.ModelML)
	shown.DrainML = max(shown.DrainML, l.Account.Totals.DrainML)
	return *shown
}

// referenceCel is the root-zone temperature taken where none is measured.
const referenceCel = 20

func (z *Zone) stateWater(s *State, level, sd float64, at int64) {
	p, a := z.ground.profile, &z.ground.aerated
	s.WaterContent, s.WaterContentSD = level, sd
	s.AirFilledPorosity = p.AirFilledPorosity(level)
	s.SaturatedShare = a.SaturatedShare(level)
	s.Saturated = level > z.ground.saturated
	s.AvailableWaterML = p.AvailableML(level, stressSuctionKPa)
	temperature := float64(referenceCel)
	if s.SubstrateTemp != nil {
		temperature = *s.SubstrateTemp
	}
	s.AerationMargin = a.Margin(level, temperature)
	s.Position = z.position(level)
	if running := z.m.Learned.Zigzag.Running(level); running > 0 {
		s.RunningDryback = running
	}
}

// probeStates tells of every probe, by id.
func (z *Zone) probeStates(at int64) []ProbeState {
	out := make([]ProbeState, len(z.probes))
	for i := range z.probes {
		p := &z.probes[i]
		out[i] = ProbeState{ID: z.settings.Probes[i].ID, Seen: p.AtMs != 0, Health: z.health(i, at).String()}
		if p.AtMs == 0 && z.health(i, at).Usable() {
			out[i].Health = sensing.Stale.String() // it may be about to speak: well it is not yet
		}
		if p.AtMs != 0 {
			out[i].AgeS, out[i].WaterContent = float64(at-p.AtMs)/1000, p.Reading
		}
	}
	return out
}

// health is a probe's health now: silence since its last reading counts too.
func (z *Zone) health(i int, at int64) sensing.Health { return z.m.Panel.Health.At(i).Health(at) }

// quorum reports whether enough probes are healthy and fresh to water by.
func (z *Zone) quorum(at int64) bool { return z.m.Panel.Healthy(at) >= max(z.settings.Quorum, 1) }

// partOfDay says whether the zone is being brought back up, held there, or left
// to dry.
func (z *Zone) partOfDay(at int64) string {
	c, day := &z.m.Cycle, z.today.day
	if c.SeenDayMs != z.today.fromMs || c.ShotsToday == 0 {
		return "dry-down"
	}
	last := day.DaytimeEnd
	if p := z.inForce(at); p != nil && p.Advice.Setpoints != nil && !p.Advice.Setpoints.LastShotBy.IsZero() && p.Advice.Setpoints.LastShotBy.After(day.Start) {
		last = p.Advice.Setpoints.LastShotBy
	}
	switch {
	case instant(at).After(last):
		return "dry-down"
	case c.FirstReachedMs == 0:
		return "rewet"
	}
	return "hold"
}

// inForce is the approved advice whose setpoints hold now; nil when none do.
func (z *Zone) inForce(at int64) *planned {
	now := instant(at)
	var found *planned
	for i := range z.plans {
		p := &z.plans[i]
		if p.State != StateApproved || now.Before(p.Advice.ValidFrom) || !now.Before(p.Advice.ValidUntil) {
			continue
		}
		found = p
	}
	return found
}

// every is a multiple of d at or before at.
func every(at int64, d time.Duration) int64 { return at - at%d.Milliseconds() }
