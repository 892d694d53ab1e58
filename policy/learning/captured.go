package learning

import (
	"fmt"
	"math"
)

var (
	capturePace  = pace{low: 0.15, high: 1, drift: 0.01, allowance: 0.02, known: 0.1, doubt: 0.1}
	capacityPace = pace{low: 0.05, high: 1, drift: 0.003, allowance: 0.01, known: 0.035, doubt: 0.04}
	drainPace    = pace{low: math.Log(120), high: math.Log(6 * 3600), drift: 0.1, allowance: 0.024, known: 0.3, doubt: 0.4}
)

// learnFromShot takes what a watering that ends at (at, w) teaches: the share
// that stayed, how fast it drained, and the level that drainage ends at where it was. drunk is the
// uptake since its start, mL.
func (z *Zone) learnFromShot(c *Constants, at int64, w float64, settled bool, drunk float64, ev *Events) {
	s := &z.Shots
	rise := s.Top - s.Before
	if s.SeenMs == 0 || rise <= 0 || at-s.TopMs < 0 {
		return
	}
	kept := z.Volume(c)*(w-s.Before) + drunk // mL still there or drunk
	given := s.GivenML
	if given <= 0 {
		return
	}
	share := math.Min(math.Max(kept/given, 0), 1)
	if ev != nil {
		ev.KeptShare = share
	}
	z.learnDrainage(c, at, w, settled, drunk/math.Max(1, float64(at-s.StartMs)))
	if settled {
		z.learnPlateau(c, at, w, share, ev)
	}
}

// learnDrainage takes two sights of how fast water above capacity leaves. Onto
// a full container, the part of a known watering that still shows at its top:
//
//	rise = capture*given/V * exp(-(top - start)/T)
//
// And after it has drained, the part of the fall that was still to come ten
// minutes after the top. drunkPerMs is uptake, mL/ms, taken out of both.
func (z *Zone) learnDrainage(c *Constants, at int64, w float64, settled bool, drunkPerMs float64) {
	s := &z.Shots
	perMs := drunkPerMs / z.Volume(c)
	noise := z.Ticks.Noise
	if s.Known && s.Before > z.Capacity.Mean-0.005 {
		to := float64(s.TopMs - s.StartMs)
		shows := (s.Top - s.Before + perMs*to) / (z.Capture.Mean * s.GivenML / z.Volume(c))
		if to >= 120_000 && shows > 0.02 && shows < 0.9 && s.Top-s.Before > 2*noise {
			z.DrainLog.take(math.Log(-to/1000/math.Log(shows)), 0.5, &drainPace)
		}
	}
	if !settled || !s.slows(at, w, noise) {
		return
	}
	lost := s.Top - w - perMs*float64(at-s.TopMs)
	late := s.After10 - w - perMs*float64(at-s.After10Ms)
	if lost < 4*noise || s.Top < z.Capacity.Mean {
		return
	}
	left := math.Min(math.Max(late/lost, 0.02), 0.9)
	z.DrainLog.take(math.Log(-float64(s.After10Ms-s.TopMs)/1000/math.Log(left)), 0.7, &drainPace)
}

// slows tells whether the fall since the top has slowed down as drainage does
// and uptake does not: it was half as fast again in the first ten minutes.
func (s *ShotState) slows(at int64, w, noise float64) bool {
	if s.After10 == 0 || at <= s.After10Ms || s.After10Ms <= s.TopMs {
		return false
	}
	first, rest := float64(s.After10Ms-s.TopMs), float64(at-s.After10Ms)
	return (s.Top-s.After10-noise)/first > 1.5*math.Max(s.After10-w, 0)/rest
}

// learnPlateau takes the level at the end of drainage as a sight of the
// container's capacity where a good part of the watering has drained, the more
// surely the more did. A plateau far from what was believed is first only a
// reason to believe it less.
func (z *Zone) learnPlateau(c *Constants, at int64, w, share float64, ev *Events) {
	s := &z.Shots
	if lost := s.Top - w; share > 0.6 || lost < 2*z.Ticks.Noise || !s.slows(at, w, z.Ticks.Noise) {
		return
	}
	if z.notFull(s.StartMs, at) {
		return
	}
	z.OverfullMs = at
	if ev != nil {
		ev.PlateauAtMs, ev.Plateau = at, w
	}
	if w > c.MaxMean {
		return
	}
	if near := math.Max(0.06, 3*z.Capacity.SD()); w < z.Capacity.Mean-near {
		z.Capacity.Var = math.Min(z.Capacity.Var+0.01*0.01, 0.08*0.08)
		return
	}
	p := z.capacityBounds(c)
	z.Capacity.take(w, 0.01+0.03*share, &p)
}

// Change is something that makes what was learned doubtful.
type Change uint8

// The changes.
const (
	NewContainer   Change = iota // other container or substrate: c is the new one
	RootsDisturbed               // roots were disturbed, the container is the same
	CropChanged                  // shoots pruned, or the crop ended
)

// Changed takes a change that a person reported at atMs. What it touches is
// learned anew, quickly, from a prior that keeps what still holds.
func (z *Zone) Changed(c *Constants, atMs int64, change Change) {
	z.Advance(c, atMs)
	if !z.Rates.Begun {
		return // nothing is known; of a container of which nothing was seen yet, roots and crop are
	}
	z.Rates.Day.widen(0.5)
	z.Rates.Night.widen(0.5)
	if change == CropChanged {
		return
	}
	if change == RootsDisturbed {
		z.Capture.eitherOr(captureMean, capturePace.doubt)
		z.Capacity.widen(0.02)
		z.Capture.Age, z.Capacity.Age = 0, 0
		return
	}
	z.Capacity.reset(c.DesignCapacity, 0.03)
	z.beginSoil()
	z.DrainLog.widen(0.7)
	z.History, z.Rested = History{}, Rested{}
	z.afresh(z.AtMs, z.Level)
	z.Ticks.forget()
	z.SeenMs = 0 // of the new container nothing has been seen: its water is not the old one's
}

// eitherOr makes of an estimate what is known where its value may have stayed, or gone to
// another that is known within sd, the one as likely as the other: the mean and the variance
// of both together. Roots that were pulled from the wall and pressed in again close the ways
// along which water ran past them, or they don't.
func (e *Estimate) eitherOr(mean, sd float64) {
	half := (mean - e.Mean) / 2
	e.Mean += half
	e.Var = (e.Var+sd*sd)/2 + half*half
	e.Spent, e.Streak = 0, 0
}

func badDemand(atMs int64, rate float64) string {
	return fmt.Sprintf("learning: impossible demand %v at %d ms", rate, atMs)
}
