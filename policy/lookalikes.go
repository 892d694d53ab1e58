package policy

import (
	"math"
	"slices"
	"strconv"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/diagnose"
	"rhizostat/policy/learning"
)

// inspectAt is the probability of a fault of valve, emitter or probe from which
// a person is asked to look.
const inspectAt = 0.8

// askMovedAt is the probability that the zone was moved into another container from which that
// is asked, where it is this or water that does not arrive.
const askMovedAt = 0.25

// showsAfter is how long after a shot of a plan its water must show: it sinks in slowly
// where a probe lies deep under dry substrate (common practice, no source).
const showsAfter = time.Hour

// diagnoseNow lets the diagnosis see the zone as it is, and the finished day when
// an irrigation day has begun.
func (z *Zone) diagnoseNow(at int64) {
	if z.m.FirstMs == 0 {
		return
	}
	in := &z.scratch.diagnosis
	z.fillDiagnosis(in, at)
	if d := &z.m.Cycle; d.DiagnosedDayMs != z.today.fromMs {
		if d.DiagnosedDayMs != 0 {
			z.fillDay(in, at)
			z.usualDay(at)
			z.m.Diagnosis.Day(in, at)
		}
		d.DiagnosedDayMs = z.today.fromMs
	}
	z.m.Diagnosis.Look(in, at)
	z.inspectHardware(at)
	z.inspectVolume(at)
}

// fillDiagnosis puts together what the diagnosis looks at.
func (z *Zone) fillDiagnosis(in *diagnose.Inputs, at int64) {
	l, g, day := &z.m.Learned, z.ground, &z.today.day
	_, sd, known := l.WaterContent()
	_, _, flooded := z.flooded(at)
	end := day.DaytimeEnd.UnixMilli()
	*in = diagnose.Inputs{
		WaterContent: l.Shown(), SD: sd, LevelSD: z.m.Panel.Consensus.LevelSD(), Current: known && z.current(at),
		FullPoint: g.band.FullPoint, RefillPoint: g.band.RefillPoint, SaturationPoint: g.saturated, Flooded: flooded,
		DesignCapacity: g.profile.ContainerCapacity(), MaxMean: g.profile.MaxMean(), VolumeML: g.constants.VolumeML,
		Daytime: at < end, Dark: z.dark(at), ClimateMs: l.Demands.ClimateMs, Morning: at-z.today.fromMs < (end-z.today.fromMs)/2,
		RootCel: number(z.m.Temp.known(at, slowAge)), PoreEC: number(z.m.PoreEC.known(at, slowAge)),
		FeedEC: number(z.m.FeedEC.known(at, 7*24*time.Hour)), DrainEC: number(z.m.DrainEC.known(at, slowAge)),
		SaltIndex:  number(z.m.SaltIndex.known(at, slowAge)),
		Recovering: z.m.Diagnosis.Recovering(at), ProbeCount: len(z.probes),
		Water: diagnose.Water{Reports: l.Reports(), LastMs: z.m.WaterMs, LastShotMs: l.Shots.LastMs, Following: l.Shots.StartMs != 0,
			TotalML: l.Account.Totals.IrrigationML - l.Account.MissedML, ReportedML: l.Account.GivenML},
	}
	in.WantedEC = number(z.specOf(z.stageOf(day.Start)).PoreEC)
	if q := z.inForce(at); q != nil && q.Advice.Setpoints != nil && !q.Advice.Setpoints.FirstShotAt.IsZero() {
		sp := q.Advice.Setpoints
		in.Water.PlanMs, in.Water.Trigger, in.Water.ByTrigger = sp.FirstShotAt.UnixMilli(), sp.TriggerWaterContent, z.byClock() < 0.5
		in.Water.Target, in.Water.ShotRise = sp.TargetWaterContent, float64(sp.ShotVolumeML)/l.Volume(&g.constants)
		for _, shot := range sp.Schedule {
			if at-shot.At.UnixMilli() >= showsAfter.Milliseconds() {
				in.Water.PlannedML += float64(shot.VolumeML)
			}
		}
	}
	if z.m.Climate.HasTemperature && at-z.m.ClimateMs[0] < climateAge.Milliseconds() {
		in.AirCel = diagnose.Number{Value: z.m.Climate.TemperatureCel, Known: true}
	}
	if a := &l.Account; a.DrainMs != 0 && at-a.DrainMs < time.Hour.Milliseconds() {
		in.Water.DrainHeard, in.Water.DrainedML = true, float64(a.CaughtML)
		n := int32(len(a.Reported))
		in.Water.DrainHourML = float64(a.Reported[a.Head] + a.Reported[(a.Head+n-1)%n])
	}
	if z.m.Valve.Open {
		in.Water.ValveOpenMs = z.m.Valve.AtMs
	}
	rateLog, rate := l.RateLog(&g.constants, at)
	var next [1]float64
	l.UptakeSteps(&g.constants, at, lookEvery.Milliseconds(), next[:])
	in.Learned = diagnose.Learned{
		RateLog: rateLog, RateSD: rate.SD(), Night: rate == &l.Rates.Night, Limit: canTake(&g.constants, l.Shown()), Uptake5ML: next[0],
		Capacity: l.Capacity.Mean, CapacitySD: l.Capacity.SD(), Capture: l.Capture.Mean, Gain: l.Gain.Mean,
		DrainLog: l.DrainLog.Mean, DrainLogSD: l.DrainLog.SD(), Noise: l.Ticks.Noise,
	}
	for i := range z.probes {
		p := &z.probes[i]
		in.Probes[i] = diagnose.Probe{Heard: p.AtMs != 0, Health: z.health(i, at), Mean: p.Mean, AtMs: p.AtMs, Parted: z.m.Panel.Health.At(i).Drift.Parted()}
		q := &in.Probes[i]
		q.SteppedMs, q.SteppedFrom, q.SteppedTo = z.m.Panel.Health.At(i).Stepped()
	}
}

// darkLight is the light up to which there is none, umol/m2/s or W/m2: what a cell reads in the
// dark (common practice, no source).
const darkLight = 3

// dark tells a zone whose climate tells of light, and of none.
func (z *Zone) dark(at int64) bool {
	fresh := func(slot int) bool {
		return z.m.ClimateMs[slot] != 0 && at-z.m.ClimateMs[slot] < climateAge.Milliseconds()
	}
	in, radiation, ppfd := &z.m.Climate, fresh(2), fresh(3)
	return (radiation || ppfd) && !(radiation && in.Radiation > darkLight) && !(ppfd && in.PPFD > darkLight)
}

// canTake is the share of its demand that the crop can take at a water content:
// 1 down to the stress point, in a straight line to 0 at the least (Feddes,
// Kowalik & Zaradny 1978, the dry branch).
func canTake(c *learning.Constants, level float64) float64 {
	if level >= c.StressMean || c.StressMean <= c.MinMean {
		return 1
	}
	return math.Max(0, (level-c.MinMean)/(c.StressMean-c.MinMean))
}

// fillDay adds what only the end of a day needs.
func (z *Zone) fillDay(in *diagnose.Inputs, at int64) {
	l := &z.m.Learned
	sums := l.Sums24h()
	in.Learned.UptakeML24h, in.Water.GivenML24h = sums.UptakeML, sums.IrrigationML
	in.Water.DrainTold = l.Account.DrainMs != 0 && at-l.Account.DrainMs < 3*24*time.Hour.Milliseconds()
	in.Water.Drain24hML = sums.ReportedDrainML
	in.Learned.AheadLog[0], in.Learned.AheadLog[1] = l.RatesAhead()
}

func number(v *float64) diagnose.Number {
	if v == nil {
		return diagnose.Number{}
	}
	return diagnose.Number{Value: *v, Known: true}
}

// askEvery is how long a trouble must go on for people to be asked again to look.
const askEvery = 24 * time.Hour

// inspectHardware asks a person, once a day while a trouble lasts, to look at what a
// spanner mends, when nothing else waits for them.
func (z *Zone) inspectHardware(at int64) {
	d := &z.m.Diagnosis
	cause, probability, since, wrong := d.Leading()
	moved, _ := d.Moved(at)
	asks := cause.Hardware() && probability >= inspectAt || moved >= askMovedAt && moved+d.NoWater(at) >= inspectAt
	if !wrong || !asks || d.Inspected == since && at-d.AskedMs < askEvery.Milliseconds() || z.scratch.out.Advice != nil || z.pendingAny(at) {
		return
	}
	if cause == diagnose.SensorFault && (z.m.Plans.QuorumMs != 0 || d.Fast.WorstProbe == 0 || z.atTheRoots(at) || at-d.AskedMs < askAgain.Milliseconds()) {
		return // a missing quorum has its own call, a probe that is well again or in somebody's hands needs none, and one that comes and goes not each time
	}
	findings := d.Findings(at, z.naming())
	if len(findings) == 0 {
		return
	}
	d.Inspected, d.AskedMs = since, at
	first := &findings[0]
	likely := first.Probability
	reasons := advice.InspectCause(first.Cause, likely, first.Look)
	if first.Cause == diagnose.WeatherOrGrowth.String() && moved >= askMovedAt {
		likely = moved // of that finding weather has its own part
		reasons = advice.InspectMoved(likely, first.Look)
	}
	reasons = append(reasons, first.Evidence...)
	for i := range findings[1:] {
		if f := &findings[1+i]; f.Cause == diagnose.WeatherOrGrowth.String() && moved >= askMovedAt {
			reasons = append(append(reasons, f.Evidence...), f.Look)
		}
	}
	z.ask(reasons, math.Round(likely*100)/100, asksFault, at)
}

// askVolumeEvery is how long a container that does not behave like the one that was told must
// go on so for people to be asked again to measure it.
const askVolumeEvery = 14 * 24 * time.Hour

// inspectVolume asks a person to see whether the container is the one that was told, when
// nothing else waits for them.
func (z *Zone) inspectVolume(at int64) {
	s := &z.m.Diagnosis.Size
	why, doubted := z.m.Diagnosis.SayVolume(z.ground.constants.VolumeML)
	if !doubted || s.AskedMs != 0 && at-s.AskedMs < askVolumeEvery.Milliseconds() || z.scratch.out.Advice != nil || z.pendingAny(at) {
		return
	}
	s.AskedMs = at
	z.ask(advice.InspectVolume(why), math.Round(z.m.Diagnosis.VolumeDoubt(z.ground.constants.VolumeML)*100)/100, asksVolume, at)
}

// pendingAny reports whether some advice waits for a person.
func (z *Zone) pendingAny(at int64) bool {
	for i := range z.plans {
		if q := &z.plans[i]; q.State == StatePending && instant(at).Before(q.Advice.ValidUntil) {
			return true
		}
	}
	return false
}

// naming gives the diagnosis its words.
func (z *Zone) naming() diagnose.Naming {
	return diagnose.Naming{Location: z.settings.Location, Probe: func(i int) string {
		if i < 0 || i >= len(z.settings.Probes) {
			return strconv.Itoa(i)
		}
		return z.settings.Probes[i].ID
	}}
}

// findings are what is likely wrong, for the state.
func (z *Zone) findings(at int64) []Finding {
	var out []Finding
	for _, f := range z.m.Diagnosis.Findings(at, z.naming()) {
		out = append(out, Finding{f.Cause, f.Probability, instant(f.SinceMs), f.Evidence, f.Look.Text})
	}
	return out
}

// mostApart is how far apart the probes of a zone may be, m3/m3, before a person is to
// know that a plan rests on their middle: beyond what places of one substrate differ
// by (common practice, no source).
const mostApart = 0.12

// saturatedNow reports whether the roots lack air.
func (z *Zone) saturatedNow(at int64) bool {
	level, _, ok := z.waterContent(at)
	return ok && level > z.ground.saturated
}

// sayWet says how wet a saturated zone is.
func (z *Zone) sayWet(at int64) advice.Reason {
	level, _, _ := z.waterContent(at)
	if _, _, ok := z.flooded(at); ok {
		least, _ := z.overProbes(at, 2*ceilingReach)
		return advice.Say("probes-under-water", advice.Span(time.Duration(at-z.m.FloodedMs)*time.Millisecond), advice.Water(least), advice.Water(level), advice.Water(z.ground.saturated))
	}
	return advice.Say("saturated-now", advice.Water(level), advice.Water(z.ground.saturated))
}

func says(reasons []advice.Reason, code string) bool {
	return slices.ContainsFunc(reasons, func(r advice.Reason) bool { return r.Code == code })
}

// warnAhead is how many days before a crop outgrows its container an advice says
// so.
const warnAhead = 14

// diagnosisReasons are what the diagnosis has to say with an advice: that it is too
// early to tell, the evidence for the likeliest cause, and whether the container will do.
func (z *Zone) diagnosisReasons(at int64) []advice.Reason {
	var out []advice.Reason
	if days, needed := z.m.Diagnosis.Known(); days < needed {
		out = append(out, advice.Say("too-early-to-tell", advice.Count(days), advice.Count(needed)))
	}
	saturated := z.saturatedNow(at)
	if f := z.m.Diagnosis.Findings(at, z.naming()); len(f) > 0 {
		first := &f[0]
		since := advice.Date(instant(first.SinceMs), z.settings.Location)
		if moved, _ := z.m.Diagnosis.Moved(at); first.Cause == diagnose.WeatherOrGrowth.String() && moved > first.Probability/2 {
			out = append(out, advice.Say("likely-moved", since, advice.Share(first.Probability)))
		} else if first.Cause == diagnose.WeatherOrGrowth.String() {
			out = append(out, advice.Say("likely-change", since, advice.Share(first.Probability))) // nothing is wrong
		} else {
			out = append(out, advice.Say("likely-cause", since, advice.Name(first.Cause), advice.Share(first.Probability)))
		}
		out = append(out, first.Evidence...)
		out = append(out, first.Look)
		saturated = saturated && !says(first.Evidence, "roots-left-alone")
	}
	if ml, ok := z.undelivered(at); ok {
		out = append(out, advice.Say("delivery-limit", advice.Volume(ml)))
	}
	if saturated {
		out = append(out, z.sayWet(at), advice.Say("roots-left-alone"))
	}
	if apart := z.m.Panel.Consensus.Apart(at); apart > mostApart {
		out = append(out, advice.Say("probes-far-apart", advice.Water(apart)))
	}
	if r, ok := z.m.Diagnosis.SayVolume(z.ground.constants.VolumeML); ok {
		out = append(out, r)
	}
	held := (z.ground.band.FullPoint - z.ground.band.RefillPoint) * z.ground.constants.VolumeML
	// A saturated root ball is not to be disturbed; it can move up once it has air.
	if o, ok := z.m.Diagnosis.Outgrow(held, z.dryShare(at)); ok && o.Days < warnAhead && !z.saturatedNow(at) {
		out = append(out, diagnose.SayOutgrown(o, held, z.today.day.DaytimeEnd, z.today.day.Next, z.settings.Location))
	}
	return out
}

// dryShare is the share of a coming day's uptake that falls between the end of its daytime,
// the latest time for a shot, and the next day's start.
func (z *Zone) dryShare(at int64) float64 {
	var ahead [96]float64
	z.m.Learned.UptakeSteps(&z.ground.constants, z.today.fromMs, learning.HistoryBin, ahead[:])
	dry, all := 0.0, 0.0
	end := z.today.day.DaytimeEnd.UnixMilli()
	for i, ml := range ahead {
		all += ml
		if z.today.fromMs+int64(i)*learning.HistoryBin >= end {
			dry += ml
		}
	}
	if all <= 0 {
		return 0
	}
	return dry / all
}
