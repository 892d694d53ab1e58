package learning

import "math"

// How long a watering comes in, ms: at least a step of the forecast, whose balance
// holds the shots that are planned at what has not drained by its end, and at most what a
// long shot runs for (common practice, no source).
const (
	leastComesMs = 5 * minuteMs
	mostComesMs  = 45 * minuteMs
)

// crest is what the balance makes of the peak, m3/m3, of the watering that is followed and
// ends at atMs: what came in evenly between its start and its top and stays, less what was
// drunk and what of it above the capacity drained meanwhile. A probe near an emitter sees
// more, and all of the water is never in the container at once.
//
//	W' = q - max(W - capacity, 0)/T
func (z *Zone) crest(c *Constants, atMs int64) float64 {
	s := &z.Shots
	during := float64(min(max(s.TopMs-s.StartMs, leastComesMs), mostComesMs)) / 1000
	drunk := z.Open.ModelML * math.Min(1, 1000*during/math.Max(1, float64(atMs-s.StartMs)))
	q := (z.Capture.Mean*s.GivenML - drunk) / z.Volume(c) / during
	drain := math.Exp(z.DrainLog.Mean)
	over := s.Before - z.Capacity.Mean
	if over < 0 { // filled up first
		if q*during <= -over {
			return s.Before + q*during
		}
		during += over / q
		over = 0
	}
	return z.Capacity.Mean + q*drain + (over-q*drain)*math.Exp(-during/drain)
}
