package learning

import "math"

// Rested is the highest water content that the container has held at rest, as the
// probes show it, m3/m3; 0 where it has not yet: a container that held so much
// without draining holds it still. Drain that runs past dry substrate looks like the
// drain of a full one, and each sight of it taken for the capacity would lower the
// plans, dry the substrate and let more run past.
type Rested struct {
	Held  float64 // on two days
	Last  float64 // on the day before
	Today float64
	// Came is the water that came to the probes today, mL: the rises of the waterings.
	Came float64
	// Ran is how many days in a row far more has come than was drunk or would have filled
	// the container to what it has held.
	Ran     int64
	Highest float64 // of the day before
}

const (
	// restAfterMs is how long after its last water a container is at rest at the earliest
	// (common practice, no source: 2 h), and restFolds how many e-folding times of its
	// drainage later than that: of what stood above capacity 5 % is left.
	restAfterMs = 2 * hourMs
	restFolds   = 3
	// restedFade is by how much a container may hold less from day to day, m3/m3:
	// substrates settle and roots fill pores over weeks. Stone wool slabs measured
	// through a winter (the open data set of the tests) came to rest 0.06 lower after
	// two months.
	restedFade = 0.001
	// restedFall is by how much it may hold less after a day that offered water
	// enough, m3/m3, and mayRunPast the share of it that may run past at most while a
	// container is not full (common practice, no source).
	restedFall = 0.005
	mayRunPast = 0.5
	// runsOver is how many times what would fill the container, and what was drunk, must
	// have come for it to be full below what it held, and runDays on how many days in a
	// row (common practice, no source).
	runsOver = 2
	runDays  = 2
	// drainsMost is the share of a day's water that must have drained to say the same
	// where rises do not show what comes, and mayRise by how much the zone may have come
	// to stand higher than on the day before, m3/m3 (common practice, no source).
	drainsMost = 0.5
	mayRise    = 0.005
	// restedMargin is how much lower than its highest rest the drainage of a
	// container may seem to end, m3/m3: by hysteresis, by where the probes sit, by
	// water that had not yet spread (common practice, no source).
	restedMargin = 0.02
)

// rests takes a water content at rest.
func (z *Zone) rests(at int64, w float64) {
	s := &z.Shots
	after := restAfterMs + int64(restFolds*1000*math.Exp(z.DrainLog.Mean+z.DrainLog.SD()))
	if s.StartMs != 0 || s.LastMs == 0 || at-s.LastMs < after {
		return
	}
	z.Rested.Today = math.Max(z.Rested.Today, w)
}

// notFull tells whether the zone has stayed below what it has held at rest, from
// from to to: what drained meanwhile ran past.
func (z *Zone) notFull(from, to int64) bool {
	return z.Rested.Held > 0 && z.highest(from, to) < z.Rested.Held-restedMargin
}

// highest is the highest water content by quarter hours from from to to, 0 where none
// is known.
func (z *Zone) highest(from, to int64) float64 {
	highest := 0.0
	for b := (from - mod(from, HistoryBin)) / HistoryBin; b*HistoryBin < to; b++ {
		if level, ok := z.History.bin(b); ok {
			highest = math.Max(highest, level)
		}
	}
	return highest
}

// restedDay ends a day: of two days the lower rest counts, since one day's high
// reading is none. A day on which more was given than was drunk and can have run past
// would have filled the container to where it once rested.
func (z *Zone) restedDay(c *Constants, to int64) {
	r := &z.Rested
	if r.Held > 0 {
		r.Held -= restedFade
		given, drunk, highest := z.History.GivenBetween(to-dayMs, to), z.booked24h().UptakeML, z.highest(to-dayMs, to)
		room := z.Volume(c) * (r.Held - restedMargin - highest)
		if (1-mayRunPast)*given-drunk > room {
			r.Held -= restedFall
		}
		r.ran(given, drunk, z.booked24h().ReportedDrainML, highest, room)
		if r.Ran >= runDays {
			z.full(c, highest)
		}
	}
	r.Held = math.Max(r.Held, math.Min(r.Last, r.Today))
	r.Last, r.Today, r.Came = r.Today, 0, 0
}

// ran counts a day of so much given, drunk and caught as drain, mL, that rose so high and
// left room for so much. Water that runs past never came: what came and is neither there
// nor drunk has left a full container. And where more than half of far too much water
// drains and lifts nothing, it is full or might as well be: still more would drain, too.
func (r *Rested) ran(given, drunk, drained, highest, room float64) {
	came := given > runsOver*drunk && r.Came-drunk > runsOver*room
	left := drained > drainsMost*given && given-drunk > runsOver*room && highest < r.Highest+mayRise
	r.Highest = highest
	if room > 0 && (came || left) {
		r.Ran = min(r.Ran+1, 100)
		return
	}
	r.Ran = 0
}

// full takes a container for full at the highest water content of the day, far below what
// it once held. What did not stay was taken for water that runs past, so that the share
// that stays is in doubt, too.
func (z *Zone) full(c *Constants, highest float64) {
	r := &z.Rested
	r.Held = math.Min(r.Held, highest+restedMargin)
	if r.Today > 0 {
		highest = r.Today
	}
	z.OverfullMs = z.AtMs
	z.Capacity.widen(capacityPace.doubt)
	p := z.capacityBounds(c)
	z.Capacity.take(highest, 0.02, &p)
	if z.Capture.Mean < captureMean {
		z.Capture.reset(captureMean, captureSD)
	}
}

// comes takes the rise of a watering that has ended.
func (z *Zone) comes(c *Constants) {
	s := &z.Shots
	if rise := s.Top - s.Before - 2*z.Ticks.Noise; s.SeenMs != 0 && rise > 0 {
		z.Rested.Came += math.Min(z.Volume(c)*rise, s.GivenML)
	}
}

// shift moves what rests on the level as the probes show it.
func (r *Rested) shift(step float64) {
	for _, level := range []*float64{&r.Held, &r.Last, &r.Today, &r.Highest} {
		if *level > 0 {
			*level = math.Max(*level+step, 0)
		}
	}
}
