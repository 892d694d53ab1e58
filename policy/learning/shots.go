package learning

import "math"

// Water takes a report that volumeML was given at atMs; known is false where
// only the fact was reported. A report may come up to a minute early, or after
// its water has shown: both are joined to the rise they belong to.
func (z *Zone) Water(c *Constants, atMs int64, volumeML float64, known bool) {
	z.Advance(c, atMs)
	if known {
		z.Shots.VolumeMs = z.AtMs
	}
	z.watered(c, atMs, volumeML, known)
}

// watered joins reported water to the watering it belongs to.
func (z *Zone) watered(c *Constants, atMs int64, volumeML float64, known bool) {
	s := &z.Shots
	s.ReportedAt = max(s.ReportedAt, atMs)
	s.ReportMs, s.Faint = atMs, 0
	known = known && volumeML > 0
	switch since := atMs - s.StartMs; {
	case s.StartMs != 0 && s.GivenML == 0 && s.SeenMs != 0 && since < matchMs:
		// The rise came first; this is its report.
		s.Known = known
	case s.StartMs != 0 && s.SeenMs == 0 && since < earlyMs:
		s.Known = s.Known && known // one watering in pulses
	default:
		before := z.Level
		if last, ok := z.Ticks.last(); ok && z.SeenMs != 0 {
			before = last.Level
		}
		z.climbs(c, z.AtMs, before, s.LastMs)
		z.startShot(c, z.AtMs, before, nil)
		s.StartMs, s.TopMs, s.LastMs = atMs, atMs, atMs
		s.Known = known
	}
	z.climbed(c, volumeML, known)
	if !known {
		return
	}
	shown := math.Max(0, z.cameML(c, z.Shown()-s.Before)-s.GivenML) // of this report, already
	s.GivenML += volumeML
	z.Open.GivenML += volumeML
	z.Account.GivenML += volumeML
	z.Account.give(z.AtMs, volumeML)
	z.History.water(z.AtMs, volumeML)
	if z.SeenMs != 0 {
		s.ComingML += math.Max(0, volumeML-shown)
		spread := z.Capture.Mean * volumeML / z.Volume(c) * math.Sqrt(0.04+z.Capture.Var)
		z.LevelVar = math.Min(z.LevelVar+spread*spread, levelVarMost)
	}
}

// Valve takes a report that the zone's valve is open or closed at atMs, with
// the flow into one container in mL/s, 0 where it is not known. Its water is
// booked as it runs, at the latest when it closes. In a zone that reports
// volumes those count and the valve says nothing new.
func (z *Zone) Valve(c *Constants, atMs int64, open bool, flowMLPerS float64) {
	z.Advance(c, atMs)
	s := &z.Shots
	from := s.OpenMs
	switch {
	case open && from == 0:
		s.OpenMs, s.OpenFlow = atMs, flowMLPerS
		return
	case from == 0 || atMs <= from || open && atMs-from < valveMs:
		return
	}
	s.OpenMs = 0
	if open {
		s.OpenMs = atMs
	}
	if s.VolumeMs != 0 && atMs-s.VolumeMs < 2*dayMs {
		return
	}
	ran := math.Min(float64(atMs-from), float64(6*hourMs)) / 1000
	z.watered(c, from, ran*s.OpenFlow, s.OpenFlow > 0)
}

// valveMs is how long a valve that stays open runs before its water is booked.
const valveMs = 5 * minuteMs

// Reports tells whether this zone's waterings are reported: one was in the last two
// days, or none has shown since the newest that was. Who is given no water for days, as
// advised, has nothing to report, and what wavers then is noise, as long as it does so now
// and then: small shots that nobody tells of any more are not plain either, but many.
func (z *Zone) Reports() bool {
	s := &z.Shots
	return s.ReportedAt != 0 && (z.AtMs-s.ReportedAt < 2*dayMs || s.LastMs <= s.ReportedAt+matchMs && s.Faint < mostFaint)
}

// mostFaint is how often rises that may be waterings are seen in some days until they are
// taken for it: in a dry week noise made none to one a day, shots that are barely seen
// four (in pots of these tests).
const mostFaint = 5

// startShot ends what was being followed and begins to follow a watering that
// lifts the water content from before.
func (z *Zone) startShot(c *Constants, at int64, before float64, ev *Events) {
	s := &z.Shots
	switch {
	case z.SeenMs == 0: // what came of the one before is in the first reading to come
	case s.StartMs != 0:
		z.shotEnds(c, at, before, false, ev)
	default:
		z.closeInterval(c, at, before)
	}
	s.StartMs, s.Before, s.Top, s.TopMs = at, before, before, at
	s.After10, s.SeenMs, s.GivenML, s.Known, s.Rising = 0, 0, 0, false, false
	s.LastMs = at
}

// watchShots sees waterings in the course of the water content.
func (z *Zone) watchShots(c *Constants, at int64, w float64, ev *Events) {
	s := &z.Shots
	if s.Rising {
		if w > s.Top {
			s.Top, s.TopMs, s.After10 = w, at, 0
			return
		}
		if s.Top-w <= z.Ticks.Noise && at-s.TopMs <= earlyMs {
			return
		}
		s.Rising = false
	}
	from, ok := z.watering(at, w)
	if !ok {
		if s.StartMs != 0 && w > s.Top {
			s.Top, s.TopMs, s.After10 = w, at, 0 // creeping on
		}
		return
	}
	if !z.joins(at) {
		if s.StartMs != 0 && s.GivenML > 0 && at-s.ReportMs < matchMs {
			return // the reported water still comes in
		}
		if z.Reports() && w-from.Level < 1.6*z.Ticks.threshold() {
			s.Faint = min(s.Faint+1, 250)
			return // where waterings are reported, one that is not must be plain
		}
		z.startShot(c, from.AtMs, from.Level, ev)
		ev.Unreported = z.Reports()
		z.climbEnds(c)
	}
	s.Rising, s.SeenMs, s.Top, s.TopMs, s.After10 = true, at, math.Max(s.Top, w), at, 0
	ev.ShotAtMs = s.StartMs
	z.overnight(c, ev)
}

// joins tells whether a rise belongs to the reported watering being followed.
func (z *Zone) joins(at int64) bool {
	s := &z.Shots
	return s.StartMs != 0 && s.SeenMs == 0 && at-s.StartMs < matchMs+riseMs
}

// watering tells whether (at, w) shows a watering, and where it began. A rise
// that is large or that a report announced counts at once; a small one waits
// for the next tick to show it still: one noisy tick is no watering.
func (z *Zone) watering(at int64, w float64) (Tick, bool) {
	s := &z.Shots
	if s.MaybeMs != 0 {
		from := Tick{s.MaybeMs, s.MaybeBefore}
		rise := s.MaybeTop - s.MaybeBefore
		s.MaybeMs = 0
		if w-from.Level > math.Max(keepShare*rise, z.Ticks.Noise) {
			return from, true
		}
	}
	from, ok := z.Ticks.rise(at, w, z.riseSince())
	if !ok {
		return from, false
	}
	if w-from.Level > 2.2*z.Ticks.threshold() || s.StartMs != 0 && s.SeenMs == 0 {
		return from, true
	}
	s.MaybeMs, s.MaybeBefore, s.MaybeTop = from.AtMs, from.Level, w
	return from, false
}

// riseSince is the time before which no rise may begin: the top of the
// watering being followed.
func (z *Zone) riseSince() int64 {
	if s := &z.Shots; s.StartMs != 0 && s.SeenMs != 0 {
		return s.TopMs
	}
	return math.MinInt64
}

// overnight completes the overnight dryback with the first shot of an
// irrigation day: from the last peak of the day before.
func (z *Zone) overnight(c *Constants, ev *Events) {
	s := &z.Shots
	start := dayStart(c, s.StartMs+earlyMs) // the day's first shot may begin to show a little early
	if s.DayFirstMs < start-earlyMs {
		if s.LastPeak > 0 && s.StartMs-s.DayFirstMs < 2*dayMs {
			ev.Overnight = math.Max(0, s.LastPeak-s.Before)
			z.Zigzag.LastOvernight = ev.Overnight
		}
		s.DayFirstMs = s.StartMs
	}
}

// dayStart is the newest day start at or before at.
func dayStart(c *Constants, at int64) int64 {
	return at - mod(at-int64(c.DayStartS)*1000, dayMs)
}

// settleMs is how long after its top a watering has drained: three e-folding
// times leave 5 % of it.
func (z *Zone) settleMs() int64 {
	t := int64(3 * math.Exp(z.DrainLog.Mean) * 1000)
	return min(max(t, 30*minuteMs), 150*minuteMs)
}

// settle ends the watering being followed once it has drained.
func (z *Zone) settle(c *Constants, at int64, w float64, ev *Events) {
	s := &z.Shots
	if s.StartMs == 0 {
		return
	}
	if s.After10 == 0 && at-s.TopMs >= 10*minuteMs {
		s.After10, s.After10Ms = w, at
	}
	if at-s.TopMs >= z.settleMs() {
		z.climbRests(c, at, w)
		z.shotEnds(c, at, w, true, ev)
	}
}

// shotEnds closes the watering being followed, if any, at (at, w): what it
// teaches, and its place in the account. settled says that it has drained.
func (z *Zone) shotEnds(c *Constants, at int64, w float64, settled bool, ev *Events) {
	s := &z.Shots
	if s.StartMs == 0 {
		return
	}
	if s.SeenMs == 0 && s.GivenML > 0 && settled {
		if need := z.Capture.Mean * s.GivenML / z.Volume(c); need > 2*z.Ticks.threshold() && s.Before < z.Capacity.Mean-0.02 && ev != nil {
			ev.MissedAtMs = s.StartMs
		}
	}
	drunk, told := z.Open.ModelML, s.Known || s.GivenML > 0
	if s.SeenMs != 0 && !s.Known {
		if more := z.shownML(c, at) - s.GivenML; more > 0 {
			s.GivenML += more
			z.Open.GivenML += more
			z.Account.giveAt(s.TopMs, more) // when it came in: who tells of it takes the guess back from there
			z.History.water(s.TopMs, more)
			z.guessed(s.StartMs, s.TopMs, more)
		}
	}
	if s.SeenMs != 0 {
		if told || !z.Ticks.Told || !s.tells(z.AtMs) {
			z.Ticks.watered(s.Top-s.Before, told)
		}
		s.LastPeak, s.LastHeld = s.Top, s.Top
		if s.Known {
			s.LastHeld = math.Min(s.Top, math.Max(z.crest(c, at), w))
		}
	}
	if ev != nil {
		ev.EndedAtMs, ev.EndedML = s.StartMs, s.GivenML
		ev.EndedFrom, ev.EndedRise, ev.EndedKnown, ev.EndedTopMs = s.Before, s.Top-s.Before, s.Known, s.TopMs-s.StartMs
	}
	z.comes(c)
	z.Late.ends(s, z.Capture.Mean*s.GivenML/z.Volume(c))
	z.learnFromShot(c, at, w, settled, drunk, ev)
	z.closeInterval(c, at, w)
	z.runsOff(c, at, w)
	s.StartMs = 0
	s.Rising = false
}

// tells tells a zone whose waterings have been reported lately. There those that were told, and
// they alone, teach what a watering rises by: a large container is watered once in days, and in
// between a noisy tick followed to the highest of the next makes a rise of five times the noise,
// which would teach that small ones are waterings.
func (s *ShotState) tells(atMs int64) bool {
	return s.ReportedAt != 0 && atMs-s.ReportedAt < tellsDays*dayMs
}

// tellsDays is how long reports are what teaches of waterings, d: the longest that a container
// in use goes without one (common practice, no source).
const tellsDays = 14

// shownML is the volume of a watering that nobody reported, mL: its rise and
// what was drunk meanwhile, over the share that stays where that is known from
// reported ones. In a zone without reports it is the water that showed; what
// ran through at once is in neither its irrigation nor its drain.
func (z *Zone) shownML(c *Constants, at int64) float64 {
	s := &z.Shots
	part := float64(s.TopMs-s.StartMs) / math.Max(1, float64(at-s.StartMs))
	ml := z.Volume(c)*(s.Top-s.Before) + part*z.Open.ModelML
	if z.Reports() {
		ml /= z.Capture.Mean
	}
	return ml
}

// GivenBetween returns the water given from from to to, both within the last
// 24 h, mL: by whole quarter hours, with what has shown of a watering that
// nobody has reported yet.
func (z *Zone) GivenBetween(c *Constants, from, to int64) float64 {
	sum := z.History.GivenBetween(from, to)
	if s := &z.Shots; s.StartMs != 0 && s.SeenMs != 0 && !s.Known && s.TopMs >= from && s.TopMs < to {
		sum += math.Max(0, z.shownML(c, z.AtMs)-s.GivenML)
	}
	return sum
}
