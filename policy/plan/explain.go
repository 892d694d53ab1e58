package plan

import (
	"math"
	"time"

	"rhizostat/policy/advice"
)

// explain says why the plan is as it is: what is, what will be, and what the
// plan does about it. The evaluation of the plan must be the last one made. What is
// published as expected is said from there, rounded as it is, or the two would differ in
// their last digit.
func (s *Scratch) explain(c *candidate, p *Proposal) {
	s.explainStart(c, p)
	s.explainFirst(p)
	s.explainShots(p)
	s.explainNight(p)
	s.explainUptake(p)
	s.explainDrain(p)
	s.explainLimits(c, p)
	s.explainLow(p)
	s.explainRecovery(p)
	s.explainChange(p)
}

func (p *Proposal) say(code string, values ...advice.Value) {
	p.Reasons = append(p.Reasons, advice.Say(code, values...))
}

// explainStart says what the zone comes to without water.
func (s *Scratch) explainStart(c *candidate, p *Proposal) {
	r, g, m := s.req, &s.grid, &s.members[0]
	sp := p.Setpoints
	shot := advice.Volume(float64(sp.ShotVolumeML))
	first := advice.Clock(sp.FirstShotAt, r.Location)
	if m.start < s.band.RefillPoint {
		p.say("below-refill-point", advice.Water(m.start), advice.Water(s.band.RefillPoint), shot, first)
		return
	}
	b := s.balanceOf(m)
	w, refill, coming := m.start, advice.Water(s.band.RefillPoint), s.coming()
	for k := g.dayStart; k < g.next; k++ {
		if w, _, _ = b.step(w, 0, s.uptake[k]); w > s.band.RefillPoint {
			continue
		}
		when := advice.Clock(g.at(k), r.Location)
		if coming > 0 {
			p.say("refill-point-after-water", advice.Volume(coming), advice.Water(m.start), refill, when)
		} else {
			p.say("refill-point-ahead", advice.Water(r.Situation.WaterContent), refill, when)
		}
		return
	}
	p.say("above-refill-point", advice.Water(w), refill)
}

// explainWithhold says why a day gets no water, and what comes of it.
func (s *Scratch) explainWithhold(p *Proposal) {
	r, now := s.req, s.req.Situation.WaterContent
	refill, end, trigger := advice.Water(s.band.RefillPoint), advice.Water(s.expected.end), advice.Water(p.Setpoints.TriggerWaterContent)
	coming := advice.Volume(s.coming())
	switch lowest := math.Min(p.Expected.TroughWaterContent, round4(s.expected.end)); {
	case r.SaturationPoint > 0 && now > s.edges.saturation:
		p.say("withhold-saturated", advice.Water(now), advice.Water(s.edges.saturation), trigger)
	case now > s.band.FullPoint:
		p.say("withhold-wet", advice.Water(now), advice.Water(s.band.FullPoint), trigger)
	case now < s.band.RefillPoint && s.coming() == 0:
		p.say("withhold-dry", advice.Water(now), refill, end)
	case lowest < s.band.RefillPoint-Tick/2:
		p.say("withhold-falls", advice.Water(now), advice.Water(lowest), refill, trigger)
	case s.coming() > 0:
		p.say("withhold-after-water", coming, advice.Water(s.members[0].start), refill, end, trigger)
	default:
		p.say("withhold-enough", refill, advice.Water(now), end, trigger)
	}
}

// coming is the water that still comes before the day that is planned, mL.
func (s *Scratch) coming() float64 {
	sum := 0.0
	for _, shot := range s.req.Committed {
		if shot.Step >= 0 {
			sum += shot.VolumeML
		}
	}
	return sum
}

// explainFirst says why the first shot comes when it does.
func (s *Scratch) explainFirst(p *Proposal) {
	m := &s.members[0]
	if at := m.peak - s.expected.lastNight; s.firstNightCounts && m.start >= s.band.RefillPoint && p.Setpoints.FirstShotAt.After(s.grid.at(s.grid.first)) {
		first := advice.Clock(p.Setpoints.FirstShotAt, s.req.Location)
		if coming := s.coming(); coming > 0 {
			p.say("first-shot-after-water", first, advice.Volume(coming), advice.Water(at), advice.Water(s.expected.lastNight))
			return
		}
		p.say("first-shot-after-dryback", first, advice.Water(at), advice.Water(s.expected.lastNight))
	}
}

// explainShots says how the day is watered.
func (s *Scratch) explainShots(p *Proposal) {
	r, sp := s.req, p.Setpoints
	shot, first := advice.Volume(float64(sp.ShotVolumeML)), advice.Clock(sp.FirstShotAt, r.Location)
	if len(sp.Schedule) == 1 {
		at := advice.Clock(sp.Schedule[0].At, r.Location) // by trigger later than the first shot may be
		p.say("single-shot", shot, at, advice.Volume(s.expected.uptake), advice.Water(s.expected.end))
	} else {
		p.say("rewet", first, shot, advice.Span(time.Duration(sp.MinIntervalS)*time.Second), advice.Water(sp.TargetWaterContent), advice.Clock(sp.LastShotBy, r.Location), advice.Water(s.band.FullPoint))
		p.say("hold", shot, advice.Water(sp.TriggerWaterContent), advice.Count(len(sp.Schedule)))
	}
	off, below := clamp(r.LevelSD, 0, mostWaterSD), s.band.FullPoint-p.Expected.PeakWaterContent
	if off >= offShows && s.edges.above.soft > off/2 && below > math.Max(off/2, offShows) && below < s.edges.above.soft+upperLeast+offShows && !s.atDailyLimit(p) {
		p.say("clear-of-full-point", advice.Water(off), advice.Water(p.Expected.PeakWaterContent), advice.Water(s.band.FullPoint))
	}
	if sp.RunTimeS == 0 {
		p.say("flow-unknown", shot)
	}
}

// offShows is how much probes must be able to be off, and a plan to keep below the full
// point, before it is worth a sentence, m3/m3: two steps of the numbers that plans are made
// of. A plan that keeps further below than the edges are soft does so for other reasons.
const offShows = 2 * Tick

// What counts as on target in words: a drain fraction within 0.05, an overnight
// dryback within 0.012 m3/m3 (common practice, no source).
const (
	drainNear   = 0.05
	drybackNear = 0.012
)

// explainNight says what the night will do.
func (s *Scratch) explainNight(p *Proposal) {
	got, wanted := p.Expected.OvernightDryback/s.gain, s.band.OvernightDryback/s.gain
	switch {
	case got < wanted-drybackNear:
		p.say("dryback-out-of-reach", advice.Water(got), advice.Water(wanted))
	case got > wanted+drybackNear:
		p.say("dryback-too-deep", advice.Water(got), advice.Water(wanted), advice.Volume(s.expected.nightUptake))
	default:
		p.say("last-shot-for-dryback", advice.Clock(p.Setpoints.LastShotBy, s.req.Location), advice.Water(got), advice.Water(wanted))
	}
	seen, whole := wanted, s.band.OvernightDryback
	if got > wanted {
		seen, whole = got, s.expected.comingNight
	}
	if math.Abs(seen-whole) > showsApart {
		p.say("dryback-as-seen", advice.Share(s.gain), advice.Water(seen), advice.Water(whole))
	}
}

// showsApart is how far a dryback as probes see it lies from the container's, m3/m3,
// before it is worth a sentence: what a person sees on a chart (common practice, no
// source).
const showsApart = 0.006

// nineInTen is the standard normal quantile of an interval that holds nine days
// of ten.
const nineInTen = 1.645

// explainUptake says what the crop will drink.
func (s *Scratch) explainUptake(p *Proposal) {
	u := s.expected.uptake
	factor := math.Pow(1+clamp(s.req.Situation.UptakeRelSD, 0, 0.8), nineInTen)
	code := "expected-uptake"
	if s.running {
		code = "expected-uptake-rest"
	}
	p.say(code, advice.Volume(u), advice.Volume(u/factor), advice.Volume(u*factor))
	if p.Setpoints != nil && s.mostGiven > 1.05*float64(p.Setpoints.ScheduledML()) {
		p.say("spread", advice.Volume(s.mostGiven), advice.Volume(float64(p.Setpoints.ScheduledML())))
	}
	if given := s.req.GivenML; p.Setpoints != nil && p.Setpoints.MaxVolumeML > 0 && given >= 1 {
		p.say("given-already", advice.Volume(float64(p.Setpoints.MaxVolumeML)), advice.Volume(given))
	}
}

// explainDrain says what drains and what the salt asks for.
func (s *Scratch) explainDrain(p *Proposal) {
	r, o, sit := s.req, &s.expected, s.req.Situation
	if o.given <= 0 {
		return
	}
	f, wanted := o.drain/o.given, s.salt.wanted
	switch {
	case f > wanted+drainNear && 1-sit.Capture > wanted:
		p.say("drain-unavoidable", advice.Share(f), advice.Share(wanted), advice.Share(sit.Capture))
	case f > wanted+drainNear:
		p.say("drain-above-wanted", advice.Share(f), advice.Share(wanted))
	case f < wanted-drainNear && s.atDailyLimit(p):
		p.say("drain-within-limit", advice.Share(f), advice.Share(wanted), advice.Volume(r.Limits.MaxDailyML))
	case f < wanted-drainNear && o.peak > s.band.FullPoint-2*Tick:
		p.say("drain-out-of-reach", advice.Share(f), advice.Share(wanted), advice.Water(s.band.FullPoint))
	case f < wanted-drainNear:
		p.say("drain-below-wanted", advice.Share(f), advice.Share(wanted))
	default:
		p.say("drain-wanted", advice.Volume(o.drain), advice.Share(f), advice.Share(wanted))
		if o.drain > 0 && o.drainAtRewet < 0.3*o.drain && wanted > 0 {
			p.say("drain-in-hold")
		}
	}
	now, aim := advice.EC(r.Salt.PoreEC), advice.EC(s.salt.aimEC)
	switch s.salt.why {
	case "pore-ec-high", "pore-ec-low", "leach-in-recovery":
		p.say(s.salt.why, now, aim, advice.Share(wanted))
		if reach, ok := r.Salt.balance().SteadyPoreEC(wanted); ok && s.salt.leach && !r.Recovering && reach > 1.02*s.salt.aimEC {
			p.say("leach-falls-short", advice.Share(wanted), advice.EC(reach), aim)
		}
	case "pore-ec-feed-bound":
		p.say(s.salt.why, now, advice.EC(r.Salt.WantedEC), advice.EC(r.Salt.FeedEC))
	case "salt-above-feed":
		p.say(s.salt.why, now, advice.Number(math.Round(10*r.Salt.PoreEC/r.Salt.FeedEC)/10), advice.EC(r.Salt.FeedEC), advice.Share(wanted))
	case "no-leach-in-recovery":
		p.say(s.salt.why, now, aim)
	}
}

// atDailyLimit reports whether the day as expected uses up what the site allows, so that no
// other shot has room: what a thirsty day may come to limits nothing of it.
func (s *Scratch) atDailyLimit(p *Proposal) bool {
	r := s.req
	given := math.Max(s.expected.given, s.expectedTrigger.given)
	return r.GivenML+given+float64(p.Setpoints.ShotVolumeML) > r.Limits.MaxDailyML
}

// wellAbove is how many times what a day needs a limit must be to be called well above it
// (common practice, no source).
const wellAbove = 1.3

// need is the water that carries the crop through the day when it lacks none, with what
// drains, mL.
func (s *Scratch) need() float64 {
	g := &s.grid
	drinks := math.Max(s.expected.uptake, (s.drunk[min(g.next, len(s.drunk)-1)]-s.drunk[g.dayStart])*s.members[0].uptake)
	return drinks / math.Max(math.Min(1-s.salt.wanted, s.req.Situation.Capture), 0.5)
}

// Limits are said to bind where the zone is outside its band by day for longer
// than this, h.
const worthSaying = 0.5

// worthAbove is for how much of the daytime above the full point is said, h: longer than
// what drains of a shot.
const worthAbove = 0.5

// explainLimits says which limit keeps the zone from being where it should.
func (s *Scratch) explainLimits(c *candidate, p *Proposal) {
	r, o, sp := s.req, &s.expected, p.Setpoints
	if o.aboveH >= worthAbove && o.saturatedH == 0 {
		p.say("peak-above-full", advice.Water(p.Expected.PeakWaterContent), advice.Water(s.band.FullPoint), advice.Span(spanH(o.aboveH)))
	}
	if o.saturatedH > 0 {
		p.say("saturation-ahead", advice.Span(spanH(o.saturatedH)), advice.Water(r.SaturationPoint))
	}
	if r.Earliest.After(r.DayStart) && c.first == s.grid.first && s.grid.led {
		p.say("approval-lead-binds", advice.Clock(s.grid.at(c.first), r.Location))
	}
	if o.belowH < worthSaying {
		if outside := o.belowH + o.aboveH; outside > 0.25*s.grid.dayHours {
			p.say("band-out-of-reach", advice.Share(outside/s.grid.dayHours), advice.Water(s.band.RefillPoint), advice.Water(s.band.FullPoint))
		}
		return
	}
	below := advice.Span(spanH(o.belowH))
	interval := s.intervalOf(c.shot)
	window := float64(c.last-c.first)/float64(interval) + 1
	switch {
	case s.atDailyLimit(p):
		p.LimitBinds = true
		if r.Wasted {
			p.say("drain-limit-binds", advice.Volume(r.Limits.MaxDailyML), below)
			return
		}
		// A limit that would carry the crop through its day is not what is wrong.
		if wellAbove*s.need()+r.GivenML > r.Limits.MaxDailyML {
			p.say("daily-limit-binds", advice.Volume(r.Limits.MaxDailyML), advice.Volume(o.uptake), below)
		} else {
			p.say("daily-limit-brings-back", advice.Volume(r.Limits.MaxDailyML), advice.Water(s.members[0].start), below, advice.Volume(o.uptake))
		}
	case c.shot == len(s.volumes)-1 && float64(len(sp.Schedule)) > 0.8*window:
		p.LimitBinds = true
		p.say("shot-limit-binds", advice.Volume(float64(sp.ShotVolumeML)), advice.Span(time.Duration(sp.MinIntervalS)*time.Second), below)
	case o.belowH+o.aboveH > 0.25*s.grid.dayHours:
		p.say("band-out-of-reach", advice.Share((o.belowH+o.aboveH)/s.grid.dayHours), advice.Water(s.band.RefillPoint), advice.Water(s.band.FullPoint))
	}
}

func (s *Scratch) explainRecovery(p *Proposal) {
	if s.req.Recovering {
		p.say("recovery", advice.Water(s.band.RefillPoint), advice.Water(s.band.FullPoint), advice.Water(s.band.OvernightDryback/s.gain))
		if shot := float64(p.Setpoints.ShotVolumeML); s.capML < s.leftML && shot > 0 && math.Max(s.expected.given, s.expectedTrigger.given)+shot > s.capML {
			p.say("recovery-limit", advice.Volume(float64(p.Setpoints.MaxVolumeML)))
		}
	}
}

// leastLow is what the probes are taken to read low from which it is said, m3/m3: a tick.
const leastLow = Tick

func (s *Scratch) explainLow(p *Proposal) {
	if s.low >= leastLow {
		p.say("probes-may-read-low", advice.Water(s.req.Situation.Capacity), advice.Water(s.req.Holds), advice.Water(s.low))
	}
}

// explainChange says what is different from the plan before.
func (s *Scratch) explainChange(p *Proposal) {
	was, now, loc := s.req.Previous, p.Setpoints, s.req.Location
	if !s.hasBefore {
		return
	}
	n := len(p.Reasons)
	if was.ShotVolumeML != now.ShotVolumeML {
		p.say("changed-shot", advice.Volume(float64(was.ShotVolumeML)), advice.Volume(float64(now.ShotVolumeML)))
	}
	moved := func(code string, before, after time.Time) {
		b, a := before.In(loc), after.In(loc)
		if minutes := math.Abs(float64(b.Hour()*60 + b.Minute() - a.Hour()*60 - a.Minute())); minutes >= 15 && minutes <= 1425 {
			p.say(code, advice.Clock(before, loc), advice.Clock(after, loc))
		}
	}
	moved("changed-first-shot", was.FirstShotAt, now.FirstShotAt)
	moved("changed-last-shot", was.LastShotBy, now.LastShotBy)
	if b, a := was.ScheduledML(), now.ScheduledML(); math.Abs(float64(a-b)) > 0.1*float64(b) {
		p.say("changed-volume", advice.Volume(float64(b)), advice.Volume(float64(a)))
	}
	if len(p.Reasons) == n {
		p.say("same-as-before")
	}
}
