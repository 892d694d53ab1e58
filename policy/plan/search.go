package plan

import (
	"math"

	"rhizostat/policy/hydraulics"
)

// Scratch is memory that planning reuses; one serves any number of zones, one
// after the other.
type Scratch struct {
	req              *Request
	grid             grid
	band             hydraulics.Band // as planned for, narrower in recovery
	edges            edges
	salt             leaching
	waterML          float64
	members          [allMembers]member
	uptake           []float64 // expected, mL a step
	volumes          []volume
	leans            [3]float64
	schedule         []slot
	committedLast    int
	firstNightCounts bool
	running          bool // the planned day has begun
	runningFirst     int  // steps from day start to first shot, then
	mostTarget       int  // ticks
	leastTrigger     int  // ticks
	before           candidate
	hasBefore        bool
	mostGiven        float64 // by trigger, over the members of the last evaluation
	expected         outcome // by clock as expected, of the last evaluation
	expectedTrigger  outcome
	evaluations      int
}

// begin makes everything that the candidates share.
func (s *Scratch) begin(r *Request) {
	r.check()
	s.req, s.grid, s.committedLast = r, newGrid(r), longAgo
	s.uptake = r.Situation.UptakeML
	s.band = r.Band
	if r.Recovering {
		s.band = recoveryBand(r.Band)
	}
	s.spreadOf(r)
	s.edges = edgesOf(&s.band, r)
	day := 0.0
	for _, u := range s.uptake[s.grid.dayStart:s.grid.next] {
		day += u
	}
	s.waterML = s.members[0].start * r.Situation.VolumeML
	s.salt = leachingFor(r, s.waterML, day)
	share := mostShotShare
	if r.Recovering {
		share *= recoveryShotShare
	}
	s.volumes = volumes(s.volumes, r, share)
	sd := math.Log1p(clamp(r.Situation.UptakeRelSD, 0, 0.8))
	s.leans = [3]float64{1, math.Exp(0.35 * sd), math.Exp(0.7 * sd)}
	s.firstNightCounts = !r.TargetReached && r.GivenML == 0
	// The target must be within reach in a container that holds less than
	// believed, or the water would run until the day's volume is used up.
	top := math.Min(s.band.FullPoint, r.Situation.Capacity-math.Max(Tick, tail*clamp(r.Situation.CapacitySD, 0, 0.02)))
	s.mostTarget = max(2, ticksDown(top))
	s.leastTrigger = min(max(1, ticksUp(s.band.RefillPoint)), s.mostTarget-1)
	s.before, s.hasBefore = s.candidateOf(r.Previous)
	s.evaluations = 0
	s.running, s.runningFirst = r.DayStart.Before(r.Situation.At), usualFirst
	if sp := r.Previous; s.running && sp != nil && !sp.FirstShotAt.IsZero() {
		s.runningFirst = clampInt(s.stepOfDay(sp, sp.FirstShotAt)-s.grid.stepBefore(r.DayStart), 0, mostNextFirst)
	}
}

func clampInt(x, low, high int) int { return min(max(x, low), high) }

func edgesOf(b *hydraulics.Band, r *Request) edges {
	e := edges{full: b.FullPoint, refill: b.RefillPoint, saturation: r.SaturationPoint}
	if !(e.saturation > 0) {
		e.saturation = 2
	}
	e.soft = clamp(1.5*r.Situation.WaterContentSD, 0.003, 0.25*b.Width())
	e.perSoft = 1 / (2 * e.soft)
	e.perWidth = 1 / b.Width()
	return e
}

// controlsOf gives the controller's numbers of a candidate.
func (s *Scratch) controlsOf(c *candidate) controls {
	if c.none {
		return controls{none: true}
	}
	return controls{
		first: c.first, last: c.last, interval: s.intervalOf(c.shot),
		shotML: float64(s.volumes[c.shot].ml), capML: s.req.Limits.MaxDailyML - s.req.GivenML,
		trigger: ofTicks(c.trigger), target: ofTicks(c.target),
	}
}

// intervalOf is the least time between shots, in steps: long enough for the
// excess of one to have mostly drained before the next is judged, where the
// site's limit is shorter and the zone can spare the time.
func (s *Scratch) intervalOf(shot int) int {
	least := s.grid.interval
	calm := min(6, int(math.Ceil(2*s.req.Situation.DrainTimeS/300)))
	if calm <= least {
		return least
	}
	day := 0.0
	for _, u := range s.uptake[s.grid.dayStart:s.grid.dayEnd] {
		day += u
	}
	shots := float64(s.grid.dayEnd-s.grid.first) / float64(calm)
	if shots*float64(s.volumes[shot].ml) > 2*day*s.members[2].uptake {
		return calm
	}
	return least
}

// guess is where the search starts: the first shot when the wanted dryback is
// reached, the last one so that what is drunk after it makes the next one.
func (s *Scratch) guess() candidate {
	g, m := &s.grid, &s.members[0]
	b := s.balanceOf(m)
	w, first := m.start, g.first
	stop := math.Max(m.peak-s.band.OvernightDryback, s.band.RefillPoint+s.edges.soft)
	latest := max(g.first, g.dayEnd-1)
	for k := g.dayStart; k < latest; k++ {
		if k >= g.first && w <= stop {
			first = k
			break
		}
		first = max(k, g.first)
		w, _, _ = b.step(w, 0, s.uptake[k])
	}
	wanted := s.band.OvernightDryback * s.req.Situation.VolumeML
	end := min(g.steps, g.next+s.nextFirst(first))
	last, sum := end-1, 0.0
	for last > first && sum < wanted {
		sum += s.uptake[last]
		last--
	}
	last = min(last, max(g.next-1, first))
	mid := len(s.volumes) / 2
	for i, v := range s.volumes { // some 3 % of the container is a usual shot
		if float64(v.ml) <= 0.03*s.req.Situation.VolumeML {
			mid = i
		}
	}
	c := candidate{first: first, last: max(first, last), shot: mid, target: s.mostTarget}
	rise := float64(s.volumes[mid].ml) * m.capture / s.req.Situation.VolumeML
	c.trigger = s.mostTarget - max(1, int(math.Round(rise/Tick)))
	s.bound(&c)
	return c
}

// bound brings a candidate back to what is allowed.
func (s *Scratch) bound(c *candidate) {
	g := &s.grid
	c.first = min(max(c.first, g.first), max(g.first, g.next-1))
	c.last = min(max(c.last, c.first), max(c.first, g.next-1))
	c.shot = min(max(c.shot, 0), len(s.volumes)-1)
	c.target = min(max(c.target, s.leastTrigger+1), s.mostTarget)
	c.trigger = min(max(c.trigger, s.leastTrigger), c.target-1)
	c.lean = min(max(c.lean, 0), len(s.leans)-1)
	if s.req.Recovering && s.hasBefore {
		s.boundChange(c)
	}
}

// scales are the steps of the search, from an hour down to five minutes and
// from four ticks down to one.
var scales = [...]struct{ steps, ticks, shots int }{{12, 4, 3}, {6, 2, 2}, {3, 1, 1}, {1, 1, 1}}

// search takes the cheapest candidate: from the better of the starts, one number
// after the other is moved while that lowers the cost, in ever smaller steps.
func (s *Scratch) search() (candidate, Score) {
	best := s.guess()
	bestScore := s.evaluate(&best, coarseMembers)
	try := func(c candidate) bool { return s.better(c, &best, &bestScore) }
	if s.hasBefore {
		c := s.before
		s.bound(&c)
		try(c)
	}
	start := best
	for shot := len(s.volumes) - 1; shot >= 0; shot -= 3 {
		for _, deep := range [...]int{1, 3} {
			c := start
			c.shot = shot
			c.trigger = c.target - deep*max(1, int(float64(s.volumes[shot].ml)*s.members[0].capture/s.req.Situation.VolumeML/Tick))
			try(c)
		}
	}
	for _, d := range scales {
		for range 2 {
			moved := false
			for _, sign := range [...]int{1, -1} {
				moves := [...]candidate{
					{first: sign * d.steps}, {last: sign * d.steps}, {trigger: sign * d.ticks},
					{shot: sign * d.shots}, {target: sign * d.ticks, trigger: sign * d.ticks}, {lean: sign},
					{shot: sign * d.shots, trigger: -sign * d.ticks}, {first: sign * d.steps, last: sign * d.steps},
				}
				for i := range moves {
					for range 3 { // as long as it pays
						if !try(best.moved(&moves[i])) {
							break
						}
						moved = true
					}
				}
			}
			if !moved {
				break
			}
		}
	}
	return best, bestScore
}

// better takes c where it is cheaper than the best so far.
func (s *Scratch) better(c candidate, best *candidate, bestScore *Score) bool {
	s.bound(&c)
	if c == *best || s.evaluations >= mostEvaluations {
		return false
	}
	s.evaluations++
	score := s.evaluate(&c, coarseMembers)
	if score.Cost < bestScore.Cost-1e-9 {
		*best, *bestScore = c, score
		return true
	}
	return false
}

// mostEvaluations bounds the time that one plan may take.
const mostEvaluations = 160

func (c candidate) moved(by *candidate) candidate {
	c.first += by.first
	c.last += by.last
	c.shot += by.shot
	c.trigger += by.trigger
	c.target += by.target
	c.lean += by.lean
	return c
}
