package plan

import "math"

// edges are the band and the saturation point, softened by how well the water
// content is known.
type edges struct {
	full, refill, saturation float64
	above, below             ramp    // at the full and at the refill point
	own                      float64 // half a ramp's width by the water content's own spread alone, m3/m3
	perWidth                 float64
	airless, perAirless      float64 // from where the zone may be saturated, m3/m3; 1 over from there to where it surely is
}

// ramp is an edge as soft as the water content is unsure there.
type ramp struct {
	soft, perSoft float64 // half its width, m3/m3; 1/(2 soft)
}

// rampOf is a ramp for a water content of standard deviation sd, in a band of a width.
func rampOf(sd, width float64) ramp {
	soft := clamp(1.5*sd, 0.003, 0.25*width)
	return ramp{soft, 1 / (2 * soft)}
}

// plain gives the water contents between which nothing is to be judged: no water above
// capacity, none near the band's edges, and uptake at its full rate.
func (e *edges) plain(b *balance) (low, high float64) {
	return max(e.refill+e.below.soft, b.fullAt, 0), min(b.capacity, e.full-e.above.soft, e.airless)
}

// softenSaturation spreads the saturation point evenly about where it is, with the standard
// deviation sd of the whole zone's water content, m3/m3. Capacity and peaks are seen by the
// same probes, which move them together, but the saturation point is a true water content:
// a plan that ends just below it by probes which may be off saturates the roots on as many
// zones as not.
func (e *edges) softenSaturation(sd float64) {
	half := math.Sqrt(3) * clamp(sd, leastSaturationSD, mostWaterSD) // of an even spread
	e.airless, e.perAirless = e.saturation-half, 1/(2*half)
}

// leastSaturationSD is how well the best probe tells a zone's water content, m3/m3.
const leastSaturationSD = Tick / 4

// judge books one step of water content.
func (e *edges) judge(w float64, day bool, o *outcome) {
	if w > o.peak {
		o.peak = w
	}
	if w < o.trough {
		o.trough = w
	}
	if w > e.airless {
		o.airlessH += stepHours * math.Min((w-e.airless)*e.perAirless, 1)
		if w > e.saturation {
			o.saturatedH += stepHours
		}
	}
	if d := e.refill - w + e.below.soft; d > 0 {
		x, outside := e.weigh(d, &e.below)
		if day {
			o.dayBelow += x
			o.belowH += outside
		} else {
			o.nightBelow += x
		}
	} else if d := w - e.full + e.above.soft; d > 0 {
		x, outside := e.weigh(d, &e.above)
		if day {
			o.dayAbove += x
			o.aboveH += outside
		} else {
			o.nightAbove += x
		}
	}
}

// weigh is what a step counts, h, that lies d beyond the inner end of an edge's ramp, and
// what of it is plainly outside the band.
func (e *edges) weigh(d float64, r *ramp) (h, outside float64) {
	if h = d * r.perSoft; h > 1 {
		h = 1
	}
	if d > r.soft {
		h += (d - r.soft) * e.perWidth
		outside = stepHours
	}
	return h * stepHours, outside
}
