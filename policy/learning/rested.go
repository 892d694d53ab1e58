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
	if z.Rested.Held == 0 {
		return false
	}
	for at := from; at < to; at += HistoryBin {
		if level, ok := z.History.bin((at - mod(at, HistoryBin)) / HistoryBin); ok && level > z.Rested.Held-restedMargin {
			return false
		}
	}
	return true
}

// newDay keeps of two days the lower: one day's high reading is no rest.
func (r *Rested) newDay() {
	if r.Held > 0 {
		r.Held -= restedFade
	}
	r.Held = math.Max(r.Held, math.Min(r.Last, r.Today))
	r.Last, r.Today = r.Today, 0
}

// shift moves what rests on the level as the probes show it.
func (r *Rested) shift(step float64) {
	for _, level := range []*float64{&r.Held, &r.Last, &r.Today} {
		if *level > 0 {
			*level = math.Max(*level+step, 0)
		}
	}
}
