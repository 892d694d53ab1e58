package forecast

import (
	"fmt"
	"math"
)

// stepS is Step in seconds.
const stepS = 300.0

// Forward runs the situation through its water balance under the given shots
// and writes the outcome to run, whose slices are reused where they are large
// enough: a run that has been used once for as many steps costs no allocation.
//
// Within a step the shot comes first, then drainage, then uptake:
//
//	W += capture*shot/V                       what the substrate holds of it
//	W -= (W - capacity) * (1 - exp(-step/T))  while W is above capacity
//	W -= uptake*limit(W)/V
//
// The rest of the shot, (1 - capture)*shot, runs through and drains in the
// same step, as does all that would lift W above Ceiling. limit falls in a
// straight line from 1 at UptakeFullAt to 0 at UptakeNoneAt, the dry branch of
// Feddes, Kowalik and Zaradny (1978). The balance closes to rounding:
// V*(W[end]-W[0]) = shots - drain - uptake.
//
// Shots are in order of their steps; those before the first step or after the
// last are left out. It panics where the situation is not a possible one.
func (s *Situation) Forward(shots []Shot, run *Run) {
	s.check()
	steps := len(s.UptakeML)
	run.resize(steps)
	drainShare, ceiling := s.drainage()
	perML := 1 / s.VolumeML
	slope := 0.0
	if s.UptakeFullAt > s.UptakeNoneAt {
		slope = 1 / (s.UptakeFullAt - s.UptakeNoneAt)
	}
	w := s.WaterContent
	run.WaterContent[0] = w
	next := 0
	for next < len(shots) && shots[next].Step < 0 {
		next++
	}
	for k := range steps {
		drain := 0.0
		for next < len(shots) && shots[next].Step <= k {
			if shots[next].Step < k {
				panic(fmt.Sprintf("forecast: shot %d is at step %d, before step %d of the one ahead of it", next, shots[next].Step, k))
			}
			v := shots[next].VolumeML
			w += s.Capture * v * perML
			drain += (1 - s.Capture) * v
			next++
		}
		if w > s.Capacity {
			out := (w - s.Capacity) * drainShare
			w -= out
			if w > ceiling {
				out += w - ceiling
				w = ceiling
			}
			drain += out * s.VolumeML
		}
		uptake := s.UptakeML[k]
		if w < s.UptakeFullAt {
			limit := (w - s.UptakeNoneAt) * slope
			if limit < 0 {
				limit = 0
			}
			uptake *= limit
		}
		if most := w * s.VolumeML; uptake > most {
			uptake = most
		}
		if w -= uptake * perML; w < 0 {
			w = 0 // below it only by rounding
		}
		run.WaterContent[k+1] = w
		run.DrainML[k] = drain
		run.UptakeML[k] = uptake
	}
}

// drainage returns the share of the water above capacity that leaves in a step,
// and the water content that is never exceeded.
func (s *Situation) drainage() (share, ceiling float64) {
	share, ceiling = 1, s.Ceiling
	if s.DrainTimeS > 0 {
		share = -math.Expm1(-stepS / s.DrainTimeS)
	}
	if ceiling <= 0 {
		ceiling = 1
	}
	return share, ceiling
}

// check panics with the numbers where a situation cannot be run.
func (s *Situation) check() {
	ok := s.VolumeML > 0 && s.WaterContent >= 0 && s.WaterContent <= 1 && s.Capture >= 0 && s.Capture <= 1 && s.Capacity > 0
	if !ok {
		panic(fmt.Sprintf("forecast: not a possible situation: volume %v mL, water content %v, capture %v, capacity %v",
			s.VolumeML, s.WaterContent, s.Capture, s.Capacity))
	}
}

// resize gives the run room for steps steps, keeping its memory where it can.
func (r *Run) resize(steps int) {
	r.WaterContent = grow(r.WaterContent, steps+1)
	r.DrainML = grow(r.DrainML, steps)
	r.UptakeML = grow(r.UptakeML, steps)
}

func grow(s []float64, n int) []float64 {
	if cap(s) >= n {
		return s[:n]
	}
	return make([]float64, n)
}
