package plan

import "math"

// candidate is one plan on the grid: whole five minutes, whole ticks, shots that
// a controller can give. What it says is exactly what is published.
type candidate struct {
	none        bool // no water
	first, last int  // steps: first shot, last shot by
	shot        int  // index into Scratch.volumes
	trigger     int  // ticks
	target      int  // ticks
	lean        int  // index into leans: for what thirst the schedule is made
}

// controls are the numbers a controller follows by trigger.
type controls struct {
	none            bool
	first, last     int
	interval        int     // steps
	shotML          float64 // mL
	capML           float64 // that may still be given
	trigger, target float64 // m3/m3
}

// slot is a shot of a schedule.
type slot struct {
	step int
	ml   float64
}

// outcome is what a day comes to under one member and one way of following.
type outcome struct {
	dayBelow, dayAbove     float64 // h, softened by the uncertainty and weighed by depth
	nightBelow, nightAbove float64 // h
	belowH, aboveH         float64 // h of daytime plainly outside
	saturatedH             float64
	given, drain, uptake   float64 // mL, of the irrigation day
	drainAtRewet           float64 // mL drained before the rewet was over
	shots, nightShots      int
	peak, trough           float64 // m3/m3
	lastNight, comingNight float64 // overnight drybacks, m3/m3
	nightStart             float64 // water content when the daytime ends, m3/m3
	nightUptake            float64 // mL after the last shot
	end                    float64 // water content when the next day starts, m3/m3
}

// run takes a member through the planned day and on to the next first shot. With
// byClock it gives the shots of schedule, else it follows c by trigger, as a
// controller does: from first to last one shot whenever the zone is at or below
// the trigger and the interval has passed; the first ones repeat until the
// target is reached. With record it writes the shots down.
func (s *Scratch) run(m *member, c *controls, byClock, record bool, o *outcome) {
	*o = outcome{peak: m.start, trough: m.start}
	g, e, b := &s.grid, &s.edges, s.balanceOf(m)
	w, lastPeak, last, next := m.start, m.peak, max(g.lastShot, s.committedLast), 0
	rewet, rewetDone := !s.req.TargetReached, s.req.TargetReached
	end := min(g.steps, g.next+s.nextFirst(c.first))
	if c.none {
		end = g.next
	}
	first := true
	for k := g.dayStart; k < end; {
		if k <= g.dayEnd {
			o.nightStart = w
		}
		if to := s.quietUntil(k, end, c, byClock, next, last, rewet, w+m.reading, b.uptake*b.perML); to > k+1 {
			if after, ok := s.coast(&b, w, k, to); ok {
				taken := b.uptake * (s.drunk[to] - s.drunk[k])
				o.nightUptake += taken
				w, k = after, to
				if k <= g.next {
					o.uptake += taken
					o.trough, o.end = math.Min(o.trough, w), w
				}
				continue
			}
		}
		shot := 0.0
		switch {
		case c.none || k >= g.next:
		case byClock:
			if next < len(s.schedule) && s.schedule[next].step == k {
				shot = s.schedule[next].ml
				next++
			}
		case k >= c.first && k <= c.last && k-last >= c.interval && o.given+c.shotML <= c.capML+1e-9:
			reading := w + m.reading
			if rewet && reading >= c.target {
				rewet = false
			}
			if rewet || reading <= c.trigger {
				shot = c.shotML
			}
		}
		if shot > 0 {
			if record {
				s.schedule = append(s.schedule, slot{k, shot})
			}
			if first {
				first = false
				o.lastNight = lastPeak - w
			}
			last = k
			o.shots++
			o.nightUptake = 0
			if k >= g.dayEnd {
				o.nightShots++
			}
		}
		var drained, taken float64
		w, drained, taken = b.step(w, shot, s.uptake[k])
		if shot > 0 {
			lastPeak = w
		}
		o.nightUptake += taken
		if k < g.next {
			o.given += shot
			o.drain += drained
			o.uptake += taken
			if !rewetDone {
				o.drainAtRewet += drained
				rewetDone = w+m.reading >= c.target
			}
			e.judge(w, k < g.dayEnd, o)
			o.end = w
		}
		k++
	}
	if first {
		o.lastNight = lastPeak - w
	}
	o.comingNight = lastPeak - w
}

// quietUntil is the first step from k on, at most end, in which a shot may come;
// the ends of daytime and irrigation day are never passed over. Fall is what the zone
// loses for a mL of expected uptake, and reading what the controller sees now.
func (s *Scratch) quietUntil(k, end int, c *controls, byClock bool, next, last int, rewet bool, reading, fall float64) int {
	g := &s.grid
	switch {
	case k < g.dayEnd:
		end = min(end, g.dayEnd)
	case k < g.next:
		end = min(end, g.next)
	default:
		return end
	}
	switch {
	case c.none || !byClock && k > c.last:
		return end
	case byClock:
		if next < len(s.schedule) {
			return min(end, s.schedule[next].step)
		}
		return end
	}
	to := max(k, c.first, last+c.interval)
	if !rewet && fall > 0 {
		enough := s.drunk[k] + (reading-c.trigger)/fall
		for to <= c.last && to < end && s.drunk[to] < enough {
			to++
		}
	}
	if to > c.last {
		return end
	}
	return min(end, to)
}

// coast takes the zone from step k to step to in one go where nothing but uptake
// at its full rate happens on the way and nothing is to be judged: no water
// above capacity, none near the band's edges.
func (s *Scratch) coast(b *balance, w float64, k, to int) (after float64, ok bool) {
	e := &s.edges
	after = w - b.uptake*b.perML*(s.drunk[to]-s.drunk[k])
	ok = w <= b.capacity && w <= e.full-e.soft && w <= e.saturation && after >= e.refill+e.soft && after >= b.fullAt && after > 0
	return after, ok
}

// nextFirst is how many steps after the start of the next day its first shot is
// thought to come: as long as on the planned day or, where that runs already, as
// on the day of the plan before.
func (s *Scratch) nextFirst(first int) int {
	if s.running {
		return s.runningFirst
	}
	return max(0, min(first-s.grid.dayStart, mostNextFirst))
}

// usualFirst is the next day's first shot, in steps, where nothing is known of
// it: an hour after the day starts (common practice, no source).
const usualFirst = 12

// mostNextFirst bounds how late the next day's first shot is thought to come,
// in steps: 6 h after the day starts.
const mostNextFirst = 72

// edges are the band and the saturation point, softened by how well the water
// content is known.
type edges struct {
	full, refill, saturation float64
	soft, perSoft            float64 // half width of the ramp; 1/(2 soft)
	perWidth                 float64
}

// judge books one step of water content.
func (e *edges) judge(w float64, day bool, o *outcome) {
	if w > o.peak {
		o.peak = w
	}
	if w < o.trough {
		o.trough = w
	}
	if w > e.saturation {
		o.saturatedH += stepHours
	}
	if d := e.refill - w + e.soft; d > 0 {
		x := stepHours * (min(1, d*e.perSoft) + max(0, d-e.soft)*e.perWidth)
		if day {
			o.dayBelow += x
			if d > e.soft {
				o.belowH += stepHours
			}
		} else {
			o.nightBelow += x
		}
	} else if d := w - e.full + e.soft; d > 0 {
		x := stepHours * (min(1, d*e.perSoft) + max(0, d-e.soft)*e.perWidth)
		if day {
			o.dayAbove += x
			if d > e.soft {
				o.aboveH += stepHours
			}
		} else {
			o.nightAbove += x
		}
	}
}
