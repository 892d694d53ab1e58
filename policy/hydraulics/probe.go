package hydraulics

import (
	"fmt"
	"math"
)

// ProbeTable ties what a probe at one height reads to the container's mean
// water content, both ways, along the profiles that hang in balance. It never
// changes; look-ups allocate nothing.
//
//	reading = 1/L * integral of theta(s0 + z) dz over the sensing length L
//
// A plain mean over the vertical sensing length, centred on the height: probes
// weigh near their rods, not along them (common practice, no source). With
// length 0, the point.
type ProbeTable struct {
	reading, mean curve // over the same bottom suctions in cm
}

// Probe returns the table of a probe whose middle is at heightCM above the
// container's bottom and that senses over sensingLengthCM of height (0: a
// point), or a *FieldError when it is not inside the substrate.
func (p *Profile) Probe(heightCM, sensingLengthCM float64) (*ProbeTable, error) {
	var f faults
	f.check(within(heightCM, 0, p.height), "height_cm", "%.4g is outside the substrate; expected 0 to %.4g cm above the bottom of %s", heightCM, p.height, named(p.container.Name, "the container"))
	f.check(within(sensingLengthCM, 0, p.height), "length_cm", "%.4g is outside 0 to %.4g cm; expected the vertical part of the sensing length; leave it out for a probe lying flat", sensingLengthCM, p.height)
	if f.none() {
		low, high := heightCM-sensingLengthCM/2, heightCM+sensingLengthCM/2
		f.check(low >= -1e-9 && high <= p.height+1e-9, "length_cm", "%.4g at height_cm %.4g reaches from %.4g to %.4g cm; expected inside 0 to %.4g cm; move the probe or tell the part that is in the substrate", sensingLengthCM, heightCM, low, high, p.height)
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	t := &ProbeTable{}
	low, high := heightCM-sensingLengthCM/2, heightCM+sensingLengthCM/2
	for _, s0 := range p.probeNodes(low, high) {
		m, dm := p.meanAtBottom(s0)
		r, dr := p.readingAtBottom(s0, low, high)
		t.reading.x, t.reading.y, t.reading.d = append(t.reading.x, s0), append(t.reading.y, r), append(t.reading.d, dr)
		t.mean.y, t.mean.d = append(t.mean.y, m), append(t.mean.d, dm)
	}
	t.mean.x = t.reading.x
	t.reading.settle()
	t.mean.settle()
	return t, nil
}

// probeNodes crowd where the reading or the mean bends: where the upper and
// the lower end of the probe, and the container's bottom, first lose water.
func (p *Profile) probeNodes(low, high float64) []float64 {
	first, ratio := p.substrate.Retention.mesh(p.height)
	var x []float64
	for _, bend := range [...]struct{ from, to float64 }{{-high, -low}, {-low, 0}, {0, driestSuctionKPa * CMPerKPa}} {
		if bend.to-bend.from > 1e-6 {
			if len(x) > 0 {
				x = x[:len(x)-1]
			}
			x = grade(x, bend.from, bend.to, first, ratio)
		}
	}
	return x
}

// readingAtBottom is what the probe reads at a bottom suction in cm, m3/m3, and
// the slope, 1/cm.
func (p *Profile) readingAtBottom(s0, low, high float64) (reading, slope float64) {
	r := p.substrate.Retention
	if high-low < 1e-6 {
		h := (s0 + (low+high)/2) / CMPerKPa
		return r.WaterContent(h), r.Slope(h) / CMPerKPa
	}
	held, d := r.heldOver(s0, low, high, [3]float64{1, 0, 0})
	return math.Min(math.Max(held/(high-low), r.ThetaR), r.ThetaS), d / (high - low)
}

// Mean returns the container's mean water content for a reading, m3/m3. It
// rises with the reading. A reading at or above theta_s gives the wettest mean
// that the probe can tell: water stands just over it. Below the driest profile
// the mean falls by as much as the reading, down to 0.
func (t *ProbeTable) Mean(reading float64) float64 {
	last := len(t.reading.y) - 1
	switch {
	case reading >= t.reading.y[0]:
		return t.mean.y[0]
	case reading <= t.reading.y[last]:
		return math.Max(0, t.mean.y[last]+reading-t.reading.y[last])
	case reading != reading:
		panic("hydraulics: reading is NaN")
	}
	i := t.reading.cellOfY(reading)
	return t.mean.at(i, t.reading.solve(i, reading))
}

// Reading returns what the probe reads when the container's mean is mean,
// m3/m3: the inverse of Mean. Wetter than the probe can tell it stays at
// theta_s; drier than the driest profile it falls by as much as the mean.
func (t *ProbeTable) Reading(mean float64) float64 {
	last := len(t.mean.y) - 1
	switch {
	case mean >= t.mean.y[0]:
		return t.reading.y[0]
	case mean <= t.mean.y[last]:
		return math.Max(0, t.reading.y[last]+mean-t.mean.y[last])
	case mean != mean:
		panic("hydraulics: mean water content is NaN")
	}
	i := t.mean.cellOfY(mean)
	return t.reading.at(i, t.mean.solve(i, mean))
}

// Sensitivity returns d reading / d mean at a mean, 1: how strongly the probe
// answers to the container's water. It is 0 where the probe is under water, and
// an error of the reading divided by it is the error of the mean.
func (t *ProbeTable) Sensitivity(mean float64) float64 {
	last := len(t.mean.y) - 1
	switch {
	case mean >= t.mean.y[0]:
		return 0
	case mean <= t.mean.y[last]:
		return 1
	}
	i := t.mean.cellOfY(mean)
	s0 := t.mean.solve(i, mean)
	dm, dr := t.mean.slopeAt(i, s0), t.reading.slopeAt(i, s0)
	if dm == 0 {
		return 0
	}
	return dr / dm
}

// Range returns the driest and the wettest mean that the probe can tell apart,
// m3/m3.
func (t *ProbeTable) Range() (driest, wettest float64) {
	return t.mean.y[len(t.mean.y)-1], t.mean.y[0]
}

// String says how far the table reaches.
func (t *ProbeTable) String() string {
	d, w := t.Range()
	return fmt.Sprintf("readings %.4f to %.4f for means %.4f to %.4f", t.reading.y[len(t.reading.y)-1], t.reading.y[0], d, w)
}
