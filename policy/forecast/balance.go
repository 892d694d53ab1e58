package forecast

import "math"

// stepS is Step in seconds.
const stepS = 300.0

// Balance is the water balance of a situation, made ready for its steps.
type Balance struct {
	volume, perML     float64
	capture, capacity float64
	ceiling           float64
	drainShare        float64 // of the water above capacity that leaves in a step
	fullAt, noneAt    float64
	slope             float64
}

// Balance makes the situation's water balance ready. It panics where the
// situation is not a possible one.
func (s *Situation) Balance() Balance {
	s.check()
	b := Balance{
		volume: s.VolumeML, perML: 1 / s.VolumeML, capture: s.Capture, capacity: s.Capacity,
		ceiling: s.Ceiling, drainShare: 1, fullAt: s.UptakeFullAt, noneAt: s.UptakeNoneAt,
	}
	if s.DrainTimeS > 0 {
		b.drainShare = -math.Expm1(-stepS / s.DrainTimeS)
	}
	if b.ceiling <= 0 {
		b.ceiling = 1
	}
	if b.fullAt > b.noneAt {
		b.slope = 1 / (b.fullAt - b.noneAt)
	}
	return b
}

// Step takes a water content through one step in which given mL are given and
// the crop would drink uptake mL, as Forward says, and returns the water content
// after it, m3/m3, and what drained and what was drunk, mL.
func (b *Balance) Step(w, given, uptake float64) (after, drained, drunk float64) {
	if given > 0 {
		w += b.capture * given * b.perML
		drained = (1 - b.capture) * given
	}
	if w > b.capacity {
		out := (w - b.capacity) * b.drainShare
		w -= out
		if w > b.ceiling {
			out += w - b.ceiling
			w = b.ceiling
		}
		drained += out * b.volume
	}
	if w < b.fullAt {
		uptake *= math.Max((w-b.noneAt)*b.slope, 0)
	}
	if most := w * b.volume; uptake > most {
		uptake = most
	}
	if w -= uptake * b.perML; w < 0 {
		w = 0 // below it only by rounding
	}
	return w, drained, uptake
}
