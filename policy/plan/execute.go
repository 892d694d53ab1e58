package plan

import (
	"math"
	"sort"
)

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
	saturatedH             float64 // h above the saturation point
	airlessH               float64 // h of saturation to be expected of a zone that may be wetter or drier than it is seen
	given, drain, uptake   float64 // mL, of the irrigation day
	drainAtRewet           float64 // mL drained before the rewet was over
	shots, nightShots      int
	peak, trough           float64 // m3/m3
	lastNight, comingNight float64 // overnight drybacks, m3/m3
	nightPeak              float64 // the peak that the night dries back from, m3/m3
	sunkH                  float64 // h between the first and the last shot below the upper band, times how far below
	lateH                  float64 // h that the first shot comes later than growers like
	nightUptake            float64 // mL after the last shot
	end                    float64 // water content when the next day starts, m3/m3
	filled                 float64 // mL that brought a dry container back to where nights usually end
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
	end := min(g.steps, g.next+latestFirst)
	first, sunk := true, 0.0 // since the last shot
	earliest := lastPeak - w // dryback when the next day starts
	low, high := e.plain(&b)
	for k := g.dayStart; k < end; {
		if k == g.next {
			earliest = lastPeak - w
		}
		if w < high && w > low {
			to := s.quietUntil(k, end, c, byClock, next, last, rewet, w+m.reading, b.uptake*b.perML)
			if to = s.coast(&b, w, low, k, to); to > k+1 {
				taken := b.uptake * (s.drunk[to] - s.drunk[k])
				after := w - taken*b.perML
				o.nightUptake += taken
				if k < g.dayEnd {
					sunk += s.belowOver(&b, w, after, k, to)
				}
				w, k = after, to
				if k <= g.next {
					o.uptake += taken
					o.trough, o.end = min(o.trough, w), w
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
				o.lateH = math.Max(0, float64(k-g.dayStart-usualFirst)*stepHours)
			} else {
				o.sunkH += sunk * stepHours
			}
			sunk = 0
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
			if k < g.dayEnd {
				sunk += s.below(w)
			}
			o.end = w
		}
		k++
	}
	o.nightPeak = lastPeak
	usual := s.upper - s.band.OvernightDryback
	o.filled = math.Max(0, math.Min(o.end, usual)-m.start) * s.req.Situation.VolumeML
	if first {
		o.lastNight = lastPeak - w
		// A day without water is well where the zone stays within a wanted
		// dryback of its upper band.
		o.nightPeak = o.end + s.band.OvernightDryback
	}
	if g.next > g.steps-1 {
		earliest = lastPeak - w
	}
	o.comingNight = clamp(s.band.OvernightDryback, earliest, math.Max(earliest, lastPeak-w))
}

// below is how far a water content lies under the upper band, in depths that
// count as sunk.
func (s *Scratch) below(w float64) float64 { return max(0, s.upper-w) * s.perSunk }

// belowOver is the sum of below over the steps from k to before to in which the zone falls
// from w to after by nothing but uptake.
func (s *Scratch) belowOver(b *balance, w, after float64, k, to int) float64 {
	if after >= s.upper {
		return 0
	}
	fall := b.uptake * b.perML
	from := k + 1
	if w > s.upper {
		from += sort.SearchFloat64s(s.drunk[k+1:to], s.drunk[k]+(w-s.upper)/fall)
	}
	n := float64(to - from + 1)
	return s.perSunk * (n*(s.upper-w) + fall*(s.drunkSum[to]-s.drunkSum[from-1]-n*s.drunk[k]))
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

// coast is the last step, at most to, until which the zone may be taken from step k in
// one go: it falls by nothing but uptake at its full rate and stays above low.
func (s *Scratch) coast(b *balance, w, low float64, k, to int) int {
	if !(b.uptake > 0) {
		return to
	}
	most := s.drunk[k] + (w-low)/(b.uptake*b.perML)
	if s.drunk[to] <= most {
		return to
	}
	return k + sort.SearchFloat64s(s.drunk[k:to], most) - 1
}

// The next day's first shot is that day's own choice, made with the night's
// course known: it comes when the wanted dryback is reached, between the day's
// start and latestFirst steps, 3 h, after it. usualFirst is how long after the
// day's start, in steps, it comes without being late: 2 h (common practice, no
// source: one to two hours after sunrise or lights-on).
const (
	latestFirst = 36
	usualFirst  = 24
)
