package forecast

import (
	"fmt"
)

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
func (s *Situation) Forward(shots []Shot, run *Run) { s.forward(1, shots, run) }

// forward is Forward with a share of the expected uptake.
func (s *Situation) forward(share float64, shots []Shot, run *Run) {
	steps := len(s.UptakeML)
	run.resize(steps)
	b := s.Balance()
	w := s.WaterContent
	run.WaterContent[0] = w
	next := 0
	for next < len(shots) && shots[next].Step < 0 {
		next++
	}
	for k := range steps {
		given := 0.0
		for next < len(shots) && shots[next].Step <= k {
			if shots[next].Step < k {
				panic(fmt.Sprintf("forecast: shot %d is at step %d, before step %d of the one ahead of it", next, shots[next].Step, k))
			}
			given += shots[next].VolumeML
			next++
		}
		w, run.DrainML[k], run.UptakeML[k] = b.Step(w, given, share*s.UptakeML[k])
		run.WaterContent[k+1] = w
	}
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
