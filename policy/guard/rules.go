package guard

import (
	"math"
	"time"

	"rhizostat/policy/advice"
)

// Bounds that need no site file.
const (
	mostECmScm    = 20.0           // above it an EC probe is broken (the sea has 50; feeds 1 to 4)
	leastECmScm   = 0.0            // an EC is not negative
	mostShotShare = 0.10           // of the container's volume in one shot; common practice, no source
	tickSlack     = 1e-9           // for comparing what was rounded
	mostDay       = 36 * time.Hour // an irrigation day lasts no longer, daylight saving and night crops included
	defaultAge    = time.Hour      // allowed data age where none is told, as the contract has it for triggers
	mostShots     = 288            // one every five minutes
	leastTick     = 0.005          // trigger and target are at least so far apart, m3/m3
)

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// usableInput stops where the guard itself has nothing sound to go by.
func usableInput(in *Input, v *Verdict) {
	what := ""
	switch {
	case !finite(in.MaxShotML, in.MaxDailyML, in.MinIntervalMin) || in.MaxShotML < 0 || in.MaxDailyML < 0 || in.MinIntervalMin < 0:
		what = "site limits"
	case !finite(in.VolumeML, in.TotalPorosity) || in.VolumeML <= 0 || in.TotalPorosity <= 0 || in.TotalPorosity > 1:
		what = "container or porosity"
	case !finite(in.Capacity, in.FullPoint, in.SaturationPoint) || in.Capacity <= 0 || in.FullPoint <= 0 || in.SaturationPoint < 0:
		what = "container capacity or band"
	case !finite(in.MostUptakeML, in.BandDrain, in.FlowMLPerS, in.GivenML) || in.MostUptakeML < 0 || in.BandDrain < 0 || in.BandDrain >= 1 || in.FlowMLPerS < 0 || in.GivenML < 0:
		what = "uptake, drain, flow or volume given"
	}
	if what != "" {
		v.stop("guard-settings", advice.Name(what))
	}
}

// knownAction stops what is none of the four.
func knownAction(_ *Input, v *Verdict) {
	switch v.Action {
	case advice.Irrigate, advice.Leach, advice.Withhold:
	default:
		v.stop("guard-malformed", advice.Name("the action"))
	}
}

// wellFormed stops numbers that no controller can take.
func wellFormed(_ *Input, v *Verdict) {
	sp := v.Setpoints
	if sp == nil {
		v.stop("guard-malformed", advice.Name("a missing set of setpoints"))
		return
	}
	what := ""
	switch {
	case !finite(sp.TriggerWaterContent, sp.TargetWaterContent, sp.DrainFraction):
		what = "trigger, target or drain fraction"
	case sp.TriggerWaterContent <= 0 || sp.TriggerWaterContent > 1 || sp.TargetWaterContent < 0 || sp.TargetWaterContent > 1 || sp.DrainFraction < 0 || sp.DrainFraction > 1:
		what = "trigger, target or drain fraction"
	case sp.ShotVolumeML < 0 || sp.MaxVolumeML < 0 || sp.RunTimeS < 0 || sp.MinIntervalS < 0:
		what = "a negative volume or time"
	case len(sp.Schedule) > mostShots:
		what = "a schedule that long"
	case v.waters() && sp.ShotVolumeML == 0:
		what = "a shot of no volume"
	case v.waters() && (sp.FirstShotAt.IsZero() || sp.LastShotBy.Before(sp.FirstShotAt)):
		what = "a last shot before the first"
	}
	for i, shot := range sp.Schedule {
		if shot.VolumeML <= 0 || shot.RunTimeS < 0 || (i > 0 && shot.At.Before(sp.Schedule[i-1].At)) {
			what = "a shot of the schedule"
		}
	}
	for i, p := range sp.TriggerByProbe {
		if !finite(p.WaterContent) || p.Probe == "" || (i > 0 && p.Probe <= sp.TriggerByProbe[i-1].Probe) {
			what = "the trigger of a probe"
		}
	}
	if what != "" {
		v.stop("guard-malformed", advice.Name(what))
		return
	}
	if v.Action == advice.Withhold && (sp.MaxVolumeML != 0 || len(sp.Schedule) != 0 || !sp.FirstShotAt.IsZero()) {
		v.say("guard-withhold", advice.Volume(math.Max(float64(sp.MaxVolumeML), float64(sp.ScheduledML()))))
		withheld(sp)
	}
}

// clock stops a plan whose day is over, or no day at all.
func clock(in *Input, v *Verdict) {
	if !in.WindowEnd.After(in.Now) || !in.WindowEnd.After(in.WindowStart) || in.WindowEnd.Sub(in.WindowStart) > mostDay {
		v.stop("guard-clock", advice.Date(in.WindowEnd, in.Location), advice.Date(in.Now, in.Location))
	}
}

// quorum stops what would act on too few probes.
func quorum(in *Input, v *Verdict) {
	if !in.Quorum {
		v.stop("guard-quorum")
	}
}

// freshData stops what would act on old readings, or on ones from the future.
func freshData(in *Input, v *Verdict) {
	limit := in.MaxDataAge
	if limit <= 0 {
		limit = defaultAge
	}
	if in.DataAge > limit || in.DataAge < -limit {
		v.stop("guard-stale", advice.Span(in.DataAge), advice.Span(limit))
	}
}

// possibleWater stops a water content that the substrate cannot have.
func possibleWater(in *Input, v *Verdict) {
	if !(in.WaterContent > 0 && in.WaterContent <= in.TotalPorosity) {
		v.stop("guard-impossible", advice.Water(in.WaterContent), advice.Water(in.TotalPorosity))
	}
}

// air withholds a day that has begun while the roots lack air.
func air(in *Input, v *Verdict) {
	if !v.waters() || in.SaturationPoint == 0 || in.WaterContent <= in.SaturationPoint || in.Now.Before(in.WindowStart) {
		return
	}
	v.say("guard-air", advice.Water(in.WaterContent), advice.Water(in.SaturationPoint))
	hold(in, v)
}

// leachAllowed turns leaching into watering where its EC is not to be believed
// or the roots recover.
func leachAllowed(in *Input, v *Verdict) {
	believed := func(ec float64) bool { return finite(ec) && ec > leastECmScm && ec <= mostECmScm }
	if v.Action != advice.Leach {
		return
	}
	switch {
	case !in.PoreKnown || !in.FeedKnown:
		v.say("guard-leach", advice.Name("the EC of pore water or feed is not known"))
	case !believed(in.PoreEC):
		v.say("guard-ec", advice.EC(in.PoreEC))
	case !believed(in.FeedEC):
		v.say("guard-ec", advice.EC(in.FeedEC))
	case in.FeedEC > in.PoreEC:
		v.say("guard-leach", advice.Name("the feed is saltier than the pore water"))
	case in.Recovering && in.PoreEC < severeSalt*in.FeedEC:
		v.say("guard-leach", advice.Name("the roots are recovering"))
	default:
		return
	}
	v.Action = advice.Irrigate
	v.Setpoints.DrainFraction = math.Min(v.Setpoints.DrainFraction, in.BandDrain)
}

// severeSalt, as a multiple of the feed's EC, is the pore EC from which recovering roots
// may be leached: 2.66 is where a leaching fraction of 0.2 leads to (Ayers & Westcot
// 1985, FAO-29, uptake 40-30-20-10), and anything below it is salt as usual.
const severeSalt = 2.66

// The largest drain fraction that leaching may aim at (common practice, no
// source: open systems drain 0.2 to 0.4).
const mostLeachDrain = 0.5

// mostDrain is the drain that an advice may aim at.
func (in *Input) mostDrain(action advice.Action) float64 {
	if action == advice.Leach {
		return math.Max(in.BandDrain, mostLeachDrain)
	}
	return in.BandDrain
}

// drain lowers the drain fraction aimed at to what the site, or leaching, allows.
func drain(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	// the published number is in hundredths
	most := math.Ceil(100*in.mostDrain(v.Action)-1e-9) / 100
	if was := v.Setpoints.DrainFraction; was > most {
		v.Setpoints.DrainFraction = most
		v.say("guard-drain", advice.Share(was), advice.Share(most))
	}
}

// shotLimit lowers shots to what the site allows.
func shotLimit(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	if was, now := lowerShots(v.Setpoints, in, in.MaxShotML); was > now {
		v.say("guard-shot-limit", advice.Volume(float64(was)), advice.Volume(float64(now)), advice.Volume(in.MaxShotML))
	}
}

// shotRoom lowers shots that are too large for the container. One that runs the
// emitters for 20 s is let through: smaller ones cannot be given.
func shotRoom(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	most := math.Max(mostShotShare*in.VolumeML, 20*in.FlowMLPerS)
	if was, now := lowerShots(v.Setpoints, in, most); was > now {
		v.say("guard-shot-room", advice.Volume(float64(was)), advice.Volume(float64(now)), advice.Share(mostShotShare))
	}
}

// runTimes lowers run times that would give more than their volume.
func runTimes(in *Input, v *Verdict) {
	sp := v.Setpoints
	changed := false
	fit := func(ml int, runS *int) {
		most := 0
		if in.FlowMLPerS > 0 {
			most = runTimeOf(ml, in.FlowMLPerS)
		}
		if *runS > most {
			*runS, changed = most, true
		}
	}
	fit(sp.ShotVolumeML, &sp.RunTimeS)
	for i := range sp.Schedule {
		fit(sp.Schedule[i].VolumeML, &sp.Schedule[i].RunTimeS)
	}
	if changed {
		v.say("guard-run-time")
	}
}

// dailyLimit lowers the day's volume to what the site allows.
func dailyLimit(in *Input, v *Verdict) {
	sp := v.Setpoints
	if limit := whole(in.MaxDailyML); v.waters() && sp.MaxVolumeML > limit {
		v.say("guard-daily-limit", advice.Volume(float64(sp.MaxVolumeML)), advice.Volume(float64(limit)), advice.Volume(in.MaxDailyML))
		sp.MaxVolumeML = limit
	}
}

// containerRoom lowers the day's volume to what the container can hold more, the
// crop may drink, and the drain that is allowed:
//
//	given + volume <= given + (room + uptake)/(1 - drain) + one shot
//
// One shot more because the last one may start just below the trigger.
func containerRoom(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	sp := v.Setpoints
	room := math.Max(0, math.Min(in.Capacity, in.TotalPorosity)-in.WaterContent) * in.VolumeML
	share := math.Min(0.9, in.mostDrain(v.Action)+0.15) // capture is not perfect; common practice, no source
	most := whole(in.GivenML + (room+in.MostUptakeML)/(1-share) + math.Max(1, float64(sp.ShotVolumeML)))
	if sp.MaxVolumeML > most {
		v.say("guard-uptake", advice.Volume(float64(sp.MaxVolumeML)), advice.Volume(float64(most)), advice.Volume(in.GivenML), advice.Volume(room), advice.Volume(in.MostUptakeML),
			advice.Share(share), advice.Volume(math.Max(1, float64(sp.ShotVolumeML))))
		sp.MaxVolumeML = most
	}
}

// interval widens the time between shots to what the site asks for.
func interval(in *Input, v *Verdict) {
	sp := v.Setpoints
	least := int(math.Ceil(math.Min(in.MinIntervalMin, 1e6)*60 - tickSlack))
	if v.waters() && sp.MinIntervalS < least {
		limit := time.Duration(least) * time.Second
		v.say("guard-interval", advice.Span(time.Duration(sp.MinIntervalS)*time.Second), advice.Span(limit), advice.Span(limit))
		sp.MinIntervalS = least
	}
}

// window takes out what lies outside the irrigation day, or before a person can
// have decided.
func window(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	sp := v.Setpoints
	from, until := in.WindowStart, in.WindowEnd.Add(-time.Minute)
	for _, t := range [...]time.Time{in.Earliest, in.Now} {
		if t.After(from) {
			from = t
		}
	}
	from = ceilMinute(from)
	cut := false
	if sp.FirstShotAt.Before(from) {
		sp.FirstShotAt, cut = from.UTC(), true
	}
	if sp.LastShotBy.After(until) {
		sp.LastShotBy, cut = until.UTC(), true
	}
	kept := sp.Schedule[:0]
	for _, shot := range sp.Schedule {
		if !shot.At.Before(sp.FirstShotAt) && !shot.At.After(sp.LastShotBy) {
			kept = append(kept, shot)
		}
	}
	out := len(sp.Schedule) - len(kept)
	sp.Schedule = kept
	if cut || out > 0 {
		v.say("guard-window", advice.Count(out), advice.Date(from, in.Location), advice.Date(in.WindowEnd, in.Location))
	}
	if sp.LastShotBy.Before(sp.FirstShotAt) {
		hold(in, v)
	}
}

// closeShots takes out shots that come too soon after the one before.
func closeShots(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	sp := v.Setpoints
	least := time.Duration(sp.MinIntervalS) * time.Second
	last := in.LastShotAt
	kept := sp.Schedule[:0]
	for _, shot := range sp.Schedule {
		if !last.IsZero() && shot.At.Sub(last) < least {
			continue
		}
		last = shot.At
		kept = append(kept, shot)
	}
	if out := len(sp.Schedule) - len(kept); out > 0 {
		v.say("guard-close-shots", advice.Count(out), advice.Span(least))
	}
	sp.Schedule = kept
}

// scheduleVolume takes shots from the end of a schedule that goes over the day's
// volume.
func scheduleVolume(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	sp := v.Setpoints
	n, sum := len(sp.Schedule), in.GivenML
	for i, shot := range sp.Schedule {
		if sum += float64(shot.VolumeML); sum > float64(sp.MaxVolumeML) {
			n = i
			break
		}
	}
	if out := len(sp.Schedule) - n; out > 0 {
		sp.Schedule = sp.Schedule[:n]
		v.say("guard-schedule-over", advice.Count(out), advice.Volume(float64(sp.MaxVolumeML)))
	}
}

// target lowers a target that the zone cannot or should not reach: the rewet
// would not end.
func target(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	sp := v.Setpoints
	most := math.Min(math.Min(in.FullPoint, in.Capacity), in.TotalPorosity)
	if in.SaturationPoint > 0 {
		most = math.Min(most, in.SaturationPoint)
	}
	if now := downTick(most); sp.TargetWaterContent > now {
		v.say("guard-target", advice.Water(sp.TargetWaterContent), advice.Water(now))
		sp.TargetWaterContent = now
	}
}

// trigger lowers a trigger that does not lie below the target, or above which
// roots lack air.
func trigger(in *Input, v *Verdict) {
	sp := v.Setpoints
	most := math.Min(in.FullPoint, in.TotalPorosity)
	if in.SaturationPoint > 0 {
		most = math.Min(most, in.SaturationPoint)
	}
	if v.waters() {
		most = math.Min(most, sp.TargetWaterContent-leastTick)
	}
	now := downTick(most)
	if now <= 0 {
		v.stop("guard-malformed", advice.Name("a target of almost no water"))
		return
	}
	if sp.TriggerWaterContent > now+tickSlack {
		v.say("guard-trigger", advice.Water(sp.TriggerWaterContent), advice.Water(now))
		sp.TriggerWaterContent = now
	}
}

// probeTriggers lowers the triggers of probes to what water there can be.
func probeTriggers(in *Input, v *Verdict) {
	for i := range v.Setpoints.TriggerByProbe {
		p := &v.Setpoints.TriggerByProbe[i]
		if most := downTick(in.TotalPorosity); p.WaterContent > most {
			v.say("guard-probe-trigger", advice.Name(p.Probe), advice.Water(p.WaterContent), advice.Water(most))
			p.WaterContent = most
		}
	}
}

// nothingLeft turns a watering without any shot to give into a withhold.
func nothingLeft(in *Input, v *Verdict) {
	if !v.waters() {
		return
	}
	sp := v.Setpoints
	if sp.ShotVolumeML >= 1 && float64(sp.MaxVolumeML)-in.GivenML >= float64(sp.ShotVolumeML) {
		return
	}
	hold(in, v)
	v.say("guard-nothing-left", advice.Date(in.WindowEnd, in.Location))
}
