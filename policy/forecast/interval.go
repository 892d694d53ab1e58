package forecast

import (
	"math"
	"time"
)

// spread is what the parts of a balance leave uncertain, as standard
// deviations.
type spread struct {
	start    float64 // of the water content now, m3/m3
	relative float64 // of a day's uptake, share
	capture  float64 // of the share of a shot that stays, its volume included
	capacity float64 // of the container capacity, m3/m3
}

// givenSD is the spread of a shot's volume from container to container, share.
// Common practice, no source.
const givenSD = 0.05

// at is the spread of the water content after uptake and water given, both as
// share of the container's volume, and so many hours. Uptake strays by the hour
// and by the day: its part grows with what is drunk, and the rest, which no
// part explains, with the square root of time.
func (p *spread) at(uptake, given, hours float64) float64 {
	v := p.start * p.start
	u := p.relative * uptake
	w := p.capture * given
	v += u*u + w*w
	if given > 0 {
		v += 0.25 * p.capacity * p.capacity
	}
	v += 1e-6 * hours // 0.001 after an hour, 0.005 after a day
	return math.Sqrt(v)
}

// Spread fills out with the standard deviation of the water content by step, one
// value more than there are steps, under the given shots: what the parts of the
// situation make of it, stretched as past errors ask. It never falls.
func (r *Record) Spread(s *Situation, shots []Shot, out []float64) {
	r.begin()
	p := spread{s.WaterContentSD, s.UptakeRelSD, math.Hypot(s.CaptureSD, givenSD), s.CapacitySD}
	uptake, given, most := 0.0, 0.0, 0.0
	next := 0
	for k := range out {
		hours := float64(k) * Step.Hours()
		stretch := between(&r.Stretch, hours) / z90
		if k == 0 {
			stretch = 1
		}
		sd := p.at(uptake/s.VolumeML, given/s.VolumeML, hours) * stretch
		most = math.Max(most, sd)
		out[k] = most
		for ; next < len(shots) && shots[next].Step <= k; next++ {
			given += shots[next].VolumeML
		}
		if k < len(s.UptakeML) {
			uptake += s.UptakeML[k]
		}
	}
}

// stretchPlan widens or narrows a plan's spread as past plans ask: a zone that is
// watered by trigger is held where it is, and its day strays less than the water
// given would have it. It never falls from step to step.
func (r *Record) stretchPlan(sd []float64) {
	most := 0.0
	for k := range sd {
		hours := float64(k) * Step.Hours()
		stretch := between(&r.PlanStretch, hours)
		if first := float64(Horizons[0]); hours < first {
			stretch = 1 + hours/first*(stretch-1)
		}
		most = math.Max(most, sd[k]*stretch)
		sd[k] = most
	}
}

// usualPrior is the spread of the usual course by horizon before any score,
// m3/m3: its errors on measured slabs (Hemming et al. 2020) to one digit.
var usualPrior = [HorizonCount]float64{0.004, 0.007, 0.01, 0.013, 0.014}

// usualSpread is the same for the usual course.
func (r *Record) usualSpread(startSD float64, out []float64) {
	var sd [HorizonCount]float32
	for h := range sd {
		sd[h] = float32(usualPrior[h] * float64(r.UsualStretch[h]) / z90)
	}
	most := 0.0
	first := float64(Horizons[0])
	for k := range out {
		hours := float64(k) * Step.Hours()
		v := between(&sd, hours)
		if hours < first {
			f := hours / first
			v = math.Sqrt((1-f)*startSD*startSD + f*v*v)
		}
		most = math.Max(most, v)
		out[k] = most
	}
}

// between interpolates a number by horizon at a time in hours, and keeps the
// first and the last beyond the ends.
func between(by *[HorizonCount]float32, hours float64) float64 {
	if hours <= float64(Horizons[0]) {
		return float64(by[0])
	}
	for h := 1; h < HorizonCount; h++ {
		lo, hi := float64(Horizons[h-1]), float64(Horizons[h])
		if hours <= hi {
			f := (hours - lo) / (hi - lo)
			return float64(by[h-1]) + f*float64(by[h]-by[h-1])
		}
	}
	return float64(by[HorizonCount-1])
}

// Level is the probability of the published interval.
const Level = 0.9

// Band is one variant of a forecast: values by step with the interval of Level,
// m3/m3.
type Band struct {
	WaterContent, Low, High []float64
}

// Published is a whole forecast, 289 values a variant.
type Published struct {
	IssuedAt               time.Time
	Plan, NoWater, AsUsual Band
	// The two halves of AsUsual, for scoring.
	usualAlone, usualBalance []float64
	planned                  [HorizonCount]planned
}

// fill makes a band of values and their standard deviations.
func (b *Band) fill(values, sd []float64) {
	n := len(values)
	b.WaterContent, b.Low, b.High = grow(b.WaterContent, n), grow(b.Low, n), grow(b.High, n)
	for k, v := range values {
		h := z90 * sd[k]
		b.WaterContent[k] = v
		b.Low[k] = math.Max(0, v-h)
		b.High[k] = math.Min(1, v+h)
	}
}
