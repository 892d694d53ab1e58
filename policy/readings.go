package policy

import (
	"math"
	"time"

	"rhizostat/policy/climate"
	"rhizostat/policy/learning"
	"rhizostat/policy/sensing"
)

// How long an average of a slow signal reaches back, and how old it may be to
// speak of now (common practice, no source).
const (
	temperatureTau = 30 * time.Minute
	salinityTau    = 3 * time.Hour
	slowAge        = 12 * time.Hour
	climateAge     = 2 * time.Hour
)

// read takes what one source reported.
func (z *Zone) read(e *Event, at int64) {
	v := e.Values
	for i := range sensing.SignalCount {
		s := sensing.Signal(i)
		x, ok := v.Get(s)
		if !ok {
			continue
		}
		if x, ok = s.Clamp(x); ok {
			v.Set(s, x)
			continue
		}
		v.Drop(s) // the intake lets none through; the engine trusts nothing
		if e.Source >= 0 && e.Source < len(z.probes) && s == sensing.WaterContent {
			z.m.Panel.Refuse(e.Source, at)
		}
	}
	switch {
	case e.Source == Climate:
		z.readClimate(&v, at)
	case e.Source == ZoneWide:
		z.readZone(&v, at)
	case e.Source >= 0 && e.Source < len(z.probes):
		z.readProbe(e.Source, &v, e.Stamp.UnixMilli(), at)
	}
}

// readProbe takes one probe's reading: its health, what it says of the whole
// container, and the zone's water content that follows from all probes.
func (z *Zone) readProbe(i int, v *sensing.Values, stamp, at int64) {
	p := &z.probes[i]
	if stamp != 0 && stamp < z.m.Plans.MovedMs {
		z.scratch.out.OldContainer++ // it comes late, and is of the container before
		return
	}
	z.readSlow(i, v, at)
	reading, ok, _ := z.settings.Probes[i].Calibration.WaterContent(v)
	if stamp > at || stamp == 0 {
		stamp = at
	}
	switch {
	case !ok && (v.Has(sensing.WaterContent) || v.Has(sensing.Permittivity) || v.Has(sensing.ContainerWeight)):
		z.m.Panel.Refuse(i, stamp)
		return
	case !ok:
		return
	}
	p.AtMs, p.Reading = stamp, reading
	p.Mean = z.meanOf(i, reading)
	if z.m.Panel.Health.At(i).Misdating {
		z.m.Panel.Misdated(i, stamp, false) // the shell has found its stamp good
	}
	z.m.Panel.Observe(i, stamp, reading, p.Mean, sensing.Zone{
		WaterMs: z.m.WaterMs, Ceiling: z.ground.profile.TotalPorosity(), Least: z.leastReading(), Floor: z.ground.constants.StressMean,
		Wilting: z.ground.profile.MinMean(), Capacity: z.m.Learned.Capacity.Mean,
	})
	consensus := &z.m.Panel.Consensus
	if consensus.Spoke(i, stamp) && consensus.Complete(at) { // else a shot would come in two halves
		z.agree(at)
	}
}

// belowResidual is how far a probe among roots may read below what its substrate never
// gives up, m3/m3: calibrations err by some hundredths (common practice, no source).
const belowResidual = 0.1

// leastReading is the water content below which a probe is not in the substrate, m3/m3:
// it hangs in the air, or its cable has come off.
func (z *Zone) leastReading() float64 {
	return math.Max(0, z.ground.substrate.Retention.ThetaR-belowResidual)
}

// meanOf is the water content of the whole container when probe i reads
// reading and the water is at rest.
func (z *Zone) meanOf(i int, reading float64) float64 {
	if z.settings.Probes[i].Calibration.Kind == "weight" {
		return math.Min(reading, z.ground.profile.MaxMean()) // it weighs the whole container
	}
	return z.ground.tables[i].Mean(reading)
}

// landed tells that the probe that counts has gone to another level since the newest water content:
// it alone tells of the zone, so that its step is the zone's.
func (z *Zone) landed() bool {
	for i := range z.probes {
		if at, _, _ := z.m.Panel.Health.At(i).Stepped(); at > z.m.Learned.SeenMs && z.m.Panel.Consensus.Spoke(i, z.probes[i].AtMs) {
			return true
		}
	}
	return false
}

// agree takes the zone's water content out of its probes and lets the zone
// learn from it.
func (z *Zone) agree(at int64) {
	wc, sd, n, ok := z.m.Panel.Consensus.Value(at)
	if !ok || n == 0 {
		return
	}
	if z.m.FirstMs == 0 {
		z.m.FirstMs = at
	}
	wc = min(max(wc, 0), 1)
	if z.m.Panel.Rejoined {
		z.m.Panel.Rejoined = false
		if z.m.Learned.SeenMs != 0 {
			z.m.Diagnosis.Releveled(wc - z.m.Learned.Shown())
		}
		z.m.Learned.Releveled(&z.ground.constants, at, wc)
	}
	if n == 1 && z.landed() {
		z.m.Learned.Landed(&z.ground.constants, at, wc)
	}
	ev := z.m.Learned.Observe(&z.ground.constants, at, wc, min(sd, 1))
	z.happened(&ev, at)
}

// happened keeps what an observation completed.
func (z *Zone) happened(ev *learning.Events, at int64) {
	c := &z.m.Cycle
	if ev.Dryback > 0 {
		c.Depth, c.Share = ev.Dryback, ev.DrybackShare
		z.scratch.out.Drybacks = append(z.scratch.out.Drybacks, ev.DrybackShare)
	}
	if ev.Overnight > 0 {
		c.Overnight = ev.Overnight
	}
	if ev.PeakAtMs != 0 {
		c.Peak = ev.Peak
	}
	if ev.TroughAtMs != 0 {
		c.Trough = ev.Trough
	}
	if ev.ShotAtMs != 0 {
		z.noteShot(ev.ShotAtMs)
	}
	z.m.Diagnosis.Happened(ev, at)
}

// noteShot counts the shots of the irrigation day; it decides which part of
// the day it is.
func (z *Zone) noteShot(at int64) {
	c := &z.m.Cycle
	if c.SeenDayMs != z.today.fromMs {
		c.SeenDayMs, c.ShotsToday, c.FirstReachedMs = z.today.fromMs, 0, 0
	}
	if at >= c.SeenDayMs {
		c.ShotsToday++
	}
	z.learnWay(at)
	c.LastShotMs = max(c.LastShotMs, at)
}

// readZone takes signals of the zone as a whole: water in and out, salt.
func (z *Zone) readZone(v *sensing.Values, at int64) {
	c, l := &z.ground.constants, &z.m.Learned
	total, counted := v.Get(sensing.IrrigationTotal)
	if counted {
		l.TellsVolumes(c, at)
		z.irrigated(total, at)
	}
	// one that reports totals has said all with them
	if ml, ok := v.Get(sensing.IrrigationVolume); ok && ml > 0 && !counted && !z.countsTotals(at) {
		l.Water(c, at, ml, true)
		z.noteWater(at)
	}
	if open, ok := v.Get(sensing.ValveOpen); ok {
		z.m.Valve = valve{at, open > 0.5}
		// a controller that reports volumes has said all with them
		flow := z.settings.Emitters.FlowMLPerS()
		l.Valve(c, at, open > 0.5, flow)
		if open > 0.5 {
			z.noteWater(at)
		}
	}
	if ml, ok := v.Get(sensing.DrainVolume); ok {
		l.Drain(c, at, ml)
	}
	if total, ok := v.Get(sensing.DrainTotal); ok {
		z.drainedTotal(total, at)
	}
	if ec, ok := v.Get(sensing.DrainEC); ok {
		z.m.DrainEC.add(at, ec, salinityTau)
	}
	if ec, ok := v.Get(sensing.FeedEC); ok {
		z.m.FeedEC.add(at, ec, salinityTau)
	}
	if t, ok := v.Get(sensing.SubstrateTemperature); ok {
		z.m.Temp.add(at, t, temperatureTau)
	}
	if ec, ok := v.Get(sensing.PoreEC); ok {
		z.m.PoreEC.add(at, ec, salinityTau)
	}
}

// noteWater notes that water came: the probes should then rise.
func (z *Zone) noteWater(at int64) { z.m.WaterMs = max(z.m.WaterMs, at) }

// readSlow takes what a probe says of temperature and salt.
func (z *Zone) readSlow(i int, v *sensing.Values, at int64) {
	if t, ok := v.Get(sensing.SubstrateTemperature); ok {
		z.slow(i, slowTemp, at, t)
	}
	z.readSalinity(i, v, at)
}

// slow takes a probe's word on a slow signal.
func (z *Zone) slow(i, signal int, at int64, x float64) {
	sources := 0
	for k := range z.probes {
		if told := z.probes[k].SlowMs[signal]; k == i || told != 0 && at-told < slowAge.Milliseconds() {
			sources++
		}
	}
	s, tau := &z.m.Temp, temperatureTau
	switch signal {
	case slowPoreEC:
		s, tau = &z.m.PoreEC, salinityTau
	case slowSaltIndex:
		s, tau = &z.m.SaltIndex, salinityTau
	}
	told := &z.probes[i].SlowMs[signal]
	s.addOneOf(at, x, tau, at-*told, sources)
	*told = at
}

// readSalinity takes pore EC as it is reported or works it out from bulk EC, and the
// salt index of bulk EC.
func (z *Zone) readSalinity(i int, v *sensing.Values, at int64) {
	if ec, ok := v.Get(sensing.PoreEC); ok {
		z.slow(i, slowPoreEC, at, ec)
		return
	}
	reading, ok, _ := z.settings.Probes[i].Calibration.WaterContent(v)
	if !ok {
		return
	}
	if !z.health(i, at).Usable() {
		return // worked out with a water content that is not to be believed
	}
	if ec, known := z.settings.Probes[i].Calibration.PoreECAt25(v, reading); known {
		z.slow(i, slowPoreEC, at, ec)
	}
	if x, known := z.settings.Probes[i].Calibration.SaltIndex(v, reading); known {
		z.slow(i, slowSaltIndex, at, x)
	}
}

// readClimate keeps the newest of each climate signal and tells the learning
// what the climate asks.
func (z *Zone) readClimate(v *sensing.Values, at int64) {
	in, seen := &z.m.Climate, &z.m.ClimateMs
	set := func(s sensing.Signal, to *float64, has *bool, slot int) {
		if x, ok := v.Get(s); ok {
			*to, *has, seen[slot] = x, true, at
		}
	}
	set(sensing.VapourPressureDeficit, &in.DeficitKPa, &in.HasDeficit, 4)
	set(sensing.AirTemperature, &in.TemperatureCel, &in.HasTemperature, 0)
	set(sensing.RelativeHumidity, &in.HumidityPercent, &in.HasHumidity, 1)
	set(sensing.Radiation, &in.Radiation, &in.HasRadiation, 2)
	set(sensing.PPFD, &in.PPFD, &in.HasPPFD, 3)
	old := at - climateAge.Milliseconds()
	in.HasDeficit = in.HasDeficit && seen[4] >= old
	in.HasTemperature = in.HasTemperature && seen[0] >= old
	in.HasHumidity = in.HasHumidity && seen[1] >= old
	in.HasRadiation = in.HasRadiation && seen[2] >= old
	in.HasPPFD = in.HasPPFD && seen[3] >= old
	if in.Known() {
		z.m.Learned.Demand(&z.ground.constants, at, climate.Rate(*in))
	}
}

// misdated marks a probe whose clock is wrong.
func (z *Zone) misdated(source int, at int64) {
	if source >= 0 && source < len(z.probes) {
		z.m.Panel.Misdated(source, at, true)
	}
}
