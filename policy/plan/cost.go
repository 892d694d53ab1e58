package plan

import "math"

// What a day costs, in hours of daytime spent outside the band. Each weight says
// how many such hours the thing is worth; a site's priorities multiply them.
// All are common practice, no source; they lie here and nowhere else.
const (
	// nightBelow: the night dries back on purpose, so below the refill point it
	// counts a third; wet nights harm more than that but less than wet days.
	weightNightBelow = 0.35
	weightNightAbove = 0.5
	// An hour of saturation costs two more than the band's hour that it mostly
	// is already: roots without air are worse off than roots short of water.
	weightSaturation = 2.0
	// Off by scaleDryback, about what probes tell, the overnight dryback costs
	// 0.62, off by twice that 1.85, before it is bounded; two nights count, the one
	// before and the one after.
	weightDryback = 1.5
	scaleDryback  = 0.005 // m3/m3
	// mostDryback bounds what one night can cost, h: a night that is far off
	// anyway says nothing about the day.
	mostDryback = 5.0
	// By day the zone is held in its upper band, and dries back from there: the
	// upper band reaches upperShare of the wanted dryback, at least upperLeast m3/m3,
	// below the full point or the container's capacity, and below the full point by
	// a third of what the probes may be off: no drainage mends that. Half a wanted dryback
	// below it, within sunkLeast and sunkMost m3/m3, is sunk: an hour of daytime there
	// between the first and the last shot costs weightSunk, up to mostSunk, or a zone that is
	// far down would best get a single shot; a night that starts there costs
	// weightNightStart, up to mostNightStart however low it starts.
	weightSunk       = 0.3
	mostSunk         = 2.0
	weightNightStart = 4.0
	mostNightStart   = 8.0
	upperShare       = 0.1
	upperLeast       = 0.01
	sunkShare        = 0.5
	sunkLeast        = 0.015
	sunkMost         = 0.03
	// An hour that the first shot comes later than usual.
	weightLate = 0.5
	// Off by scaleDrain the drain fraction costs 0.41, off by three times that 2.2; a
	// site that asks for much drain has asked for the wetter hours that it takes.
	weightDrain = 1.0
	scaleDrain  = 0.03
	// mostDrainOff bounds what too little drain can cost, h: where it is out of reach, as in a
	// container that must not be filled to where it drains, it is no reason to water up to
	// the brim.
	mostDrainOff = 5.0
	// Where leaching is wanted the drain is what the day is for.
	leachFactor = 3
	// Water that drains before the substrate is full again runs past it: per
	// share of what is given.
	weightEarlyDrain = 1.0
	// Off by a tenth of what is aimed at, pore EC costs 0.08.
	weightPoreEC = 0.2
	scalePoreEC  = 0.10
	// Shots wear valves and wet foliage and floors; by night nobody sees them.
	weightShot      = 0.02
	weightNightShot = 0.3
	// An hour of night in which a controller by trigger may give some, if it gives any
	// or not.
	weightNightWindow = 0.05
	// People like to see yesterday's numbers again.
	weightChange         = 0.03
	weightChangeRecovery = 0.15
)

// Score is what a plan costs, in hours of daytime outside the band or their
// like, over the spread of the forecast and both ways of following it.
type Score struct {
	Cost             float64 // the sum of the parts
	Band             float64
	Saturation       float64
	OvernightDryback float64
	NightStart       float64
	DrainFraction    float64
	PoreEC           float64
	Shots            float64
	Change           float64
	// HardLimitNear: as expected, the plan saturates the zone for more than an
	// hour, or leaves it far below its refill point for two hours by day.
	HardLimitNear bool
}

// off turns a deviation, in units of its scale, into a cost that is gentle near
// the target and grows evenly far from it.
func off(x float64) float64 { return math.Sqrt(1+x*x) - 1 }

// night is what one overnight dryback costs that is so far off its target.
func night(d float64) float64 {
	return bounded(weightDryback*off(d/scaleDryback), mostDryback)
}

// bounded lets a cost grow to most and no further.
func bounded(x, most float64) float64 { return most * x / (most + x) }

// add books one outcome with its weight.
func (s *Scratch) add(score *Score, o *outcome, weight float64) {
	p, band := &s.req.Priorities, &s.band
	score.Band += weight * p.Band * (o.dayBelow + o.dayAbove + weightNightBelow*o.nightBelow + weightNightAbove*o.nightAbove)
	score.Saturation += weight * p.Saturation * weightSaturation * o.airlessH

	dry := night(o.comingNight - band.OvernightDryback)
	if s.firstNightCounts {
		dry += night(o.lastNight - band.OvernightDryback)
	}
	score.OvernightDryback += weight * p.OvernightDryback * dry
	score.NightStart += weight * p.OvernightDryback * (math.Min(weightSunk*o.sunkH, mostSunk) + weightLate*o.lateH + bounded(weightNightStart*s.below(o.nightPeak), mostNightStart))

	if o.given > 0 || s.salt.leach {
		// In shares of the whole day's water: a small rest of a day drains little,
		// whatever its fraction.
		day := math.Max(o.uptake, s.req.GivenML+o.given)
		wanted := s.salt.wanted * math.Max(0, o.given-o.filled) // what fills a dry container need not drain
		if s.salt.leach {
			wanted = math.Max(wanted, s.salt.wanted*o.uptake) // a day without water flushes nothing
		}
		x := weightDrain * off((o.drain-wanted)/day/scaleDrain)
		if (o.drain < wanted || o.filled > 0) && !s.salt.leach { // what fills a dry container may run past
			x = bounded(x, mostDrainOff)
		}
		if s.salt.leach {
			x *= leachFactor
		}
		score.DrainFraction += weight * p.DrainFraction * (x + weightEarlyDrain*o.drainAtRewet/day)
	}
	if s.salt.aimEC > 0 {
		after := s.req.Salt.poreECAfter(s.waterML, o.given, o.drain)
		score.PoreEC += weight * p.PoreEC * weightPoreEC * off((after/s.salt.aimEC-1)/scalePoreEC)
	}
	score.Shots += weight * p.Shots * (weightShot*float64(o.shots) + weightNightShot*float64(o.nightShots))
}

func (s *Score) total() {
	s.Cost = s.Band + s.Saturation + s.OvernightDryback + s.NightStart + s.DrainFraction + s.PoreEC + s.Shots + s.Change
}

// evaluate costs a candidate over the first members of the spread.
func (s *Scratch) evaluate(c *candidate, members int) Score {
	return s.evaluateBelow(c, members, math.Inf(1))
}

// evaluateBelow costs a candidate that is of use only if it costs less than
// most: no part of a cost is negative, so it stops, with a cost of at least most,
// where the members so far come to that.
func (s *Scratch) evaluateBelow(c *candidate, members int, most float64) Score {
	k := s.controlsOf(c)
	laid := s.lay(&k, c.lean)
	change, late := s.change(c), s.lateWindow(c)
	score := s.both(&k, laid, members, most-change-late)
	score.Change = change
	score.Shots += late
	score.total()
	return score
}

// lateWindow is what it costs that a controller by trigger may water into the night.
func (s *Scratch) lateWindow(c *candidate) float64 {
	if c.none {
		return 0
	}
	return weightNightWindow * s.req.Priorities.Shots * float64(max(0, c.last-s.grid.dayEnd+1)) * stepHours
}

// lay writes the schedule of a plan: the shots that following it by trigger
// leads to on the expected day, or on one as thirsty as the lean says. What the
// expected day comes to is said where that is what was run: it is then the same
// by trigger and by clock, and need not be run again.
func (s *Scratch) lay(k *controls, lean int) *outcome {
	s.schedule = s.schedule[:0]
	if k.none {
		return nil
	}
	m := s.members[0]
	m.uptake *= s.leans[lean]
	s.run(&m, k, false, true, &s.laid)
	if lean > 0 {
		return nil
	}
	return &s.laid
}

// leastWay is the least share that either way of following a plan has in its
// cost: controllers are changed, and a plan must be good both ways.
const leastWay = 0.2

// both runs the schedule by clock and the plan by trigger, until the cost comes
// to most. Expected is what the expected day comes to both ways, where that is known.
func (s *Scratch) both(k *controls, expected *outcome, members int, most float64) Score {
	var score Score
	sum := 0.0
	for i := range members {
		sum += s.members[i].weight
	}
	s.mostGiven = 0
	for i := range members {
		m := &s.members[i]
		weight := m.weight / sum
		known := i == 0 && expected != nil
		var byTrigger outcome
		if known {
			byTrigger = *expected
		} else {
			s.run(m, k, false, false, &byTrigger)
		}
		s.mostGiven = max(s.mostGiven, byTrigger.given)
		s.add(&score, &byTrigger, weight*(1-s.clockShare))
		if score.total(); score.Cost >= most {
			break
		}
		byClock := byTrigger
		if !known && !k.none {
			s.run(m, k, true, false, &byClock)
		}
		s.add(&score, &byClock, weight*s.clockShare)
		if i == 0 {
			s.mostGiven = max(s.mostGiven, byClock.given)
			s.expected = byClock
			s.expectedTrigger = byTrigger
			o := &byClock
			if s.clockShare < 0.5 {
				o = &byTrigger
			}
			far := o.dayBelow > 2 && o.belowH > 2 && o.trough < s.band.RefillPoint-0.5*s.band.Width()
			score.HardLimitNear = o.saturatedH > 1 || far
		}
		if score.total(); score.Cost >= most {
			break
		}
	}
	return score
}
