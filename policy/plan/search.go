package plan

import (
	"math"
	"slices"

	"rhizostat/policy/hydraulics"
)

// Scratch is memory that planning reuses; one serves any number of zones, one
// after the other.
type Scratch struct {
	req              *Request
	grid             grid
	band             hydraulics.Band // as planned for: narrower in recovery, the dryback as probes see it
	low              float64         // by how much lower the full point and the saturation point are planned for, m3/m3
	gain             float64         // of what is seen over the container's mean
	edges            edges
	salt             leaching
	waterML          float64
	members          [allMembers]member
	uptake           []float64 // expected, mL a step
	drunk            []float64 // expected before a step, mL
	drunkSum         []float64 // of drunk up to a step, mL
	volumes          []volume
	leftML           float64 // of the day's limit, whole mL
	capML            float64 // that may be given, whole mL: less than leftML in recovery
	leans            [3]float64
	schedule         []slot
	laid             outcome // of the run that wrote the schedule
	committedLast    int
	firstNightCounts bool
	running          bool    // the planned day has begun
	clockShare       float64 // of following by clock in the cost
	upper            float64 // water content from which the zone is in its upper band, m3/m3
	perSunk          float64 // 1 over how far below that it is sunk
	mostTarget       int     // ticks
	leastTrigger     int     // ticks
	before           candidate
	hasBefore        bool
	mostGiven        float64 // by trigger, over the members of the last evaluation
	expected         outcome // by clock as expected, of the last evaluation
	expectedTrigger  outcome
	evaluations      int // made by the running part of the search
	allowed          int
	tried            []candidate // by the running part of the search
}

// begin makes everything that the candidates share.
func (s *Scratch) begin(r *Request) {
	r.check()
	s.req, s.grid, s.committedLast = r, newGrid(r), longAgo
	s.uptake = r.Situation.UptakeML
	s.drunk, s.drunkSum = append(s.drunk[:0], 0), append(s.drunkSum[:0], 0)
	for k, u := range s.uptake {
		s.drunk = append(s.drunk, s.drunk[k]+u)
		s.drunkSum = append(s.drunkSum, s.drunkSum[k]+s.drunk[k+1])
	}
	s.band = r.Band
	s.low = math.Max(0, math.Min(r.ReadsLow, r.Band.Width()-hydraulics.MinBandWidth))
	s.band.FullPoint -= s.low
	if r.Recovering {
		s.band = recoveryBand(s.band)
	}
	if s.gain = r.Gain; s.gain <= 0 {
		s.gain = 1
	}
	s.band.OvernightDryback *= s.gain
	s.spreadOf(r)
	s.edges = edgesOf(&s.band, r)
	s.edges.saturation -= s.low
	s.edges.softenSaturation(math.Hypot(r.LevelSD, r.Situation.WaterContentSD))
	day := s.drunk[s.grid.next] - s.drunk[s.grid.dayStart]
	s.waterML = s.members[0].start * r.Situation.VolumeML
	s.salt = leachingFor(r, s.waterML, day)
	share := mostShotShare
	if r.Recovering {
		share *= recoveryShotShare
	}
	s.leftML = math.Max(0, math.Floor(r.Limits.MaxDailyML+1e-9)-math.Ceil(r.GivenML))
	s.volumes = volumes(s.volumes, r, s.leftML, share)
	sd := math.Log1p(clamp(r.Situation.UptakeRelSD, 0, 0.8))
	s.leans = [3]float64{1, math.Exp(0.35 * sd), math.Exp(0.7 * sd)}
	s.capML = s.leftML
	if r.Recovering {
		s.capML = math.Min(s.capML, s.fitsML())
	}
	s.firstNightCounts = !r.TargetReached && r.GivenML == 0
	// The target must be within reach in a container that holds less than
	// believed, or the water would run until the day's volume is used up.
	top := math.Min(s.band.FullPoint, r.Situation.Capacity-math.Max(Tick, tail*clamp(r.Situation.CapacitySD, 0, 0.02)))
	s.mostTarget = max(2, ticksDown(top))
	s.leastTrigger = min(max(1, ticksUp(s.band.RefillPoint)), s.mostTarget-1)
	s.before, s.hasBefore = s.candidateOf(r.Previous)
	s.clockShare = clamp(r.ByClock, leastWay, 1-leastWay)
	s.running = r.DayStart.Before(r.Situation.At)
	dryback := s.band.OvernightDryback
	s.perSunk = 1 / clamp(sunkShare*dryback, sunkLeast, sunkMost)
	// A capacity believed too low is found out only by filling up to it: where
	// drain is wanted anyway, the day aims as high as the container may hold.
	holds := r.Situation.Capacity + r.CapacityShift
	if s.band.DrainFraction > 0 {
		holds += clamp(r.Situation.CapacitySD, 0, 0.02)
	}
	s.upper = math.Min(s.band.FullPoint-clamp(r.LevelSD, 0, mostWaterSD)/3, holds) - math.Max(upperLeast, upperShare*dryback)
}

// edgesOf softens the band's edges by what is not known of the zone's water content: by its own
// spread, and by what its probes may all be off alike, or a plan would hold a
// zone at an edge of its band all season where it stands beyond it. Above the full point the
// probes may be off by no more than the container can stand above it: one that is full
// when it has drained is not overfull because its probes read low.
func edgesOf(b *hydraulics.Band, r *Request) edges {
	e := edges{full: b.FullPoint, refill: b.RefillPoint, saturation: r.SaturationPoint}
	if !(e.saturation > 0) {
		e.saturation = 2
	}
	above := r.LevelSD
	if r.Holds > 0 {
		above = math.Min(above, math.Max(0, r.Holds-b.FullPoint))
	}
	e.above = rampOf(math.Hypot(above, r.Situation.WaterContentSD), b.Width())
	e.below = rampOf(math.Hypot(r.LevelSD, r.Situation.WaterContentSD), b.Width())
	e.own = rampOf(r.Situation.WaterContentSD, b.Width()).soft
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
		shotML: float64(s.volumes[c.shot].ml), capML: s.capML,
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
	day := s.drunk[s.grid.dayEnd] - s.drunk[s.grid.dayStart]
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
	stop := math.Max(m.peak-s.band.OvernightDryback, s.band.RefillPoint+s.edges.below.soft)
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
	end := min(g.steps, g.next+latestFirst/2)
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

// scale is how far one move of the search goes.
type scale struct{ steps, ticks, shots int }

// scales are the steps of the search, from an hour down to five minutes and
// from four ticks down to one.
var scales = [...]scale{{12, 4, 3}, {6, 2, 2}, {3, 1, 1}, {1, 1, 1}}

// search takes the cheapest candidate it finds: from two starts with shots of
// different size, one number after the other is moved while that lowers the
// cost, in ever smaller steps; the last and smallest ones under the whole
// spread.
func (s *Scratch) search() (candidate, Score) {
	var best [2]candidate
	var scores [2]Score
	best[0], best[1], scores[0], scores[1] = s.starts()
	for i := range best {
		s.evaluations, s.allowed, s.tried = 0, evaluationsCoarse, s.tried[:0]
		for _, d := range scales {
			s.descend(d, &best[i], &scores[i], coarseMembers)
		}
	}
	if scores[1].Cost < scores[0].Cost {
		best[0] = best[1]
	}
	s.evaluations, s.allowed, s.tried = 0, evaluationsFine, s.tried[:0]
	score := s.evaluate(&best[0], allMembers)
	s.descend(scales[len(scales)-1], &best[0], &score, allMembers)
	return best[0], score
}

// How many candidates each part of the search may try: they bound its time.
const (
	evaluationsCoarse = 100
	evaluationsFine   = 40
)

// starts gives the two starts: the cheapest of the guess, the plan before and
// shots of every other size, and the cheapest whose shot is half as large again
// or a third smaller.
func (s *Scratch) starts() (one, two candidate, scoreOne, scoreTwo Score) {
	guess := s.guess()
	scoreOne.Cost, scoreTwo.Cost = math.Inf(1), math.Inf(1)
	consider := func(c candidate) {
		s.bound(&c)
		score := s.evaluate(&c, coarseMembers)
		switch {
		case score.Cost < scoreOne.Cost:
			if s.sizesDiffer(c, one) {
				two, scoreTwo = one, scoreOne
			}
			one, scoreOne = c, score
		case score.Cost < scoreTwo.Cost && s.sizesDiffer(c, one):
			two, scoreTwo = c, score
		}
	}
	consider(guess)
	two, scoreTwo = guess, scoreOne
	if s.hasBefore {
		consider(s.before)
	}
	for shot := len(s.volumes) - 1; shot >= 0; shot -= 2 {
		rise := float64(s.volumes[shot].ml) * s.members[0].capture / s.req.Situation.VolumeML / Tick
		for _, below := range [...]float64{0, 0.6} {
			c := guess
			c.shot, c.target = shot, s.mostTarget-int(below*rise+0.5)
			c.trigger = c.target - max(1, int(rise+0.5))
			consider(c)
			if below > 0 {
				continue
			}
			if c.last = s.filled(&c); c.last > guess.last {
				consider(c)
			}
			if s.salt.leach && guess.first > s.grid.dayStart+usualFirst {
				// what is to be flushed need not wait for the dryback, which on a dull day is
				// reached at dusk if at all
				c.first = s.grid.dayStart + usualFirst
				c.last = s.filled(&c)
				consider(c)
			}
		}
	}
	return one, two, scoreOne, scoreTwo
}

// filled is the step of the last shot that it takes, one after the other from c's first
// and by day, to fill the container and to drain what is wanted. A crop that drinks
// little dries the container back as wanted only from there: between no water and so
// much no plan is better than both.
func (s *Scratch) filled(c *candidate) int {
	m, ml := &s.members[0], float64(s.volumes[c.shot].ml)
	w := m.start - (s.drunk[c.first]-s.drunk[s.grid.dayStart])*m.uptake/s.req.Situation.VolumeML
	need := math.Max(0, m.capacity-w) * s.req.Situation.VolumeML / m.capture
	need /= 1 - clamp(s.salt.wanted, 0, 0.5)
	n := max(1, int(math.Ceil(need/ml-0.5)))
	return min(c.first+(n-1)*s.intervalOf(c.shot), s.grid.dayEnd-1)
}

// sizesDiffer tells whether two shots are plainly of different size.
func (s *Scratch) sizesDiffer(a, b candidate) bool {
	x, y := float64(s.volumes[a.shot].ml), float64(s.volumes[b.shot].ml)
	return x >= 1.5*y || y >= 1.5*x
}

// descend moves one number after the other by one scale's steps while that
// lowers the cost, twice round at most.
func (s *Scratch) descend(d scale, best *candidate, score *Score, members int) {
	for range 2 {
		moved := false
		for _, sign := range [...]int{1, -1} {
			moves := [...]candidate{
				{first: sign * d.steps}, {last: sign * d.steps}, {trigger: sign * d.ticks},
				{shot: sign * d.shots}, {target: sign * d.ticks, trigger: sign * d.ticks}, {lean: sign},
				{shot: sign * d.shots, trigger: -sign * d.ticks}, {first: sign * d.steps, last: sign * d.steps},
				{target: sign * d.ticks},
			}
			for i := range moves {
				for range 3 { // as long as it pays
					if !s.better(best.moved(&moves[i]), best, score, members) {
						break
					}
					moved = true
				}
			}
		}
		if !moved {
			return
		}
	}
}

// better takes c where it is cheaper than the best so far. What was tried before under
// the same members was not cheap enough then, and the best is cheaper by now.
func (s *Scratch) better(c candidate, best *candidate, bestScore *Score, members int) bool {
	s.bound(&c)
	if c == *best || s.evaluations >= s.allowed || slices.Contains(s.tried, c) {
		return false
	}
	s.evaluations++
	s.tried = append(s.tried, c)
	score := s.evaluateBelow(&c, members, bestScore.Cost)
	if score.Cost < bestScore.Cost-1e-9 {
		*best, *bestScore = c, score
		return true
	}
	return false
}

func (c candidate) moved(by *candidate) candidate {
	c.first += by.first
	c.last += by.last
	c.shot += by.shot
	c.trigger += by.trigger
	c.target += by.target
	c.lean += by.lean
	return c
}
