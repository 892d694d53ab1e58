package simulator

import (
	"fmt"
	"math"
)

// soil is the water of one container by layer, from the bottom up, moved by
// Richards' equation with gravity,
//
//	d(theta)/dt = d/dz [ K (1 - ds/dz) ] + sources,  s suction,
//
// on the layers of a grid, conductivity taken upstream. A step is linearly
// implicit with the whole Jacobian (Rosenbrock's Euler step), and the very
// fluxes of the solved linear system move the water: mass closes to rounding.
type soil struct {
	g     *grid
	c     *curve
	theta [layers]float64
	// path is where each layer stands between the wetting curve (0) and the
	// drying one (1). It moves with the water: a fall or rise by scanning
	// covers 63 % of the way.
	path [layers]float64
	dt   float64 // last accepted step, s
	// outlet is the height of standing water at the drain hole, cm; 0 drains
	// freely.
	outlet float64
}

// scanning is the change of water content over which a layer passes from one
// branch of the hysteresis to the other, m3/m3 (common practice, no source).
const scanning = 0.03

// flows are the volumes that crossed the edges of the layers downward (edge 0
// is the bottom) and what the sources gave, mL.
type flows struct {
	edge   [layers + 1]float64
	source [layers]float64
}

// largestChange is the largest change of a layer's water content in one step,
// m3/m3; shortest the step, s, below which a step is taken as it is.
const (
	largestChange = 0.02
	shortestStep  = 0.01
	longestStep   = 300.0
)

// water is the water in the container, mL.
func (s *soil) water() float64 {
	sum := 0.0
	for i := range s.theta {
		sum += s.theta[i] * s.g.volume[i]
	}
	return sum
}

// scale is the suction of layer i over that of the drying curve.
func (s *soil) scale(i int) float64 {
	r := s.c.WettingRatio
	return r + (1-r)*s.path[i]
}

// advance moves the water over span s. source is mL/s into each layer (uptake
// below 0); pond is the water on top that may soak in, mL, and what is left of
// it is returned with the flows.
func (s *soil) advance(span float64, source *[layers]float64, pond float64) (flows, float64) {
	var f flows
	dt := s.dt
	if dt <= 0 {
		dt = 1
	}
	for left := span; left > 1e-9; {
		dt = min(dt, left, longestStep)
		took, fits := s.try(dt, source, &f, &pond)
		if !fits {
			dt = took
			continue
		}
		left -= took
		dt = took * 2
	}
	s.dt = dt
	return f, pond
}

// try takes one step if no layer changes too much, and else gives the shorter
// step to try next.
func (s *soil) try(dt float64, source *[layers]float64, f *flows, pond *float64) (float64, bool) {
	var p [layers]point
	for i := range p {
		p[i] = s.c.at(s.theta[i], s.scale(i))
	}
	q, dLow, dHigh := s.fluxes(&p)
	supply := *pond / dt
	if q[layers] >= supply { // all that stands on top soaks in
		q[layers], dLow[layers] = supply, 0
	}
	change := s.solve(dt, source, &q, &dLow, &dHigh)
	if out := q[0] + dHigh[0]*change[0]; out < 0 { // nothing comes back through the hole
		q[0], dHigh[0] = 0, 0
		change = s.solve(dt, source, &q, &dLow, &dHigh)
	}
	largest := 0.0
	for i := range change {
		largest = math.Max(largest, math.Abs(change[i]))
		if s.theta[i]+change[i] < s.c.ThetaR*0.5 {
			largest = math.Max(largest, 1)
		}
	}
	soaked := (q[layers] + dLow[layers]*change[layers-1]) * dt
	if (largest > largestChange || soaked > *pond+1e-9 || soaked < 0) && dt > shortestStep {
		return dt / 3, false
	}
	s.accept(dt, source, f, &q, &dLow, &dHigh, &change)
	*pond = math.Max(*pond-soaked, 0)
	return dt, true
}

// fluxes gives the downward flow through every edge, mL/s, and its slopes with
// the water content of the layer below and above the edge.
func (s *soil) fluxes(p *[layers]point) (q, dLow, dHigh [layers + 1]float64) {
	g := s.g
	// the drain hole: suction there is minus the standing water
	if drive := 1 - (p[0].s+s.outlet)/g.middle[0]; drive > 0 {
		q[0] = g.area[0] * p[0].k * drive
		dHigh[0] = g.area[0] * (p[0].dk*drive - p[0].k*p[0].ds/g.middle[0])
	}
	for e := 1; e < layers; e++ {
		low, high := &p[e-1], &p[e]
		d := g.middle[e] - g.middle[e-1]
		drive := 1 + (low.s-high.s)/d
		a := g.area[e]
		k, dkLow, dkHigh := high.k, 0.0, high.dk
		if drive < 0 {
			k, dkLow, dkHigh = low.k, low.dk, 0.0
		}
		q[e] = a * k * drive
		dLow[e] = a * (dkLow*drive + k*low.ds/d)
		dHigh[e] = a * (dkHigh*drive - k*high.ds/d)
	}
	// soaking in from a film on top: the conductivity is that of wet substrate
	top := &p[layers-1]
	d := g.edge[layers] - g.middle[layers-1]
	a, k := g.area[layers], s.c.conductivity[nodes]
	q[layers] = math.Max(a*k*(1+top.s/d), 0)
	if q[layers] > 0 {
		dLow[layers] = a * k * top.ds / d
	}
	return q, dLow, dHigh
}

// solve gives the change of every layer's water content over dt by the
// tridiagonal algorithm of Thomas.
func (s *soil) solve(dt float64, source *[layers]float64, q, dLow, dHigh *[layers + 1]float64) [layers]float64 {
	var upper, x [layers]float64
	for i := range layers {
		// V x_i/dt = q[i+1] - q[i] + source, with q linear in x
		diagonal := s.g.volume[i]/dt - dLow[i+1] + dHigh[i]
		above := -dHigh[i+1] // on x_(i+1); zero at the top
		below := dLow[i]     // on x_(i-1); zero at the bottom
		right := q[i+1] - q[i] + source[i]
		if i == layers-1 {
			above = 0
		}
		if i > 0 {
			diagonal -= below * upper[i-1]
			right -= below * x[i-1]
		}
		if !(diagonal > 0) {
			panic(fmt.Sprintf("simulator: layer %d of theta %g over %g s has the diagonal %g; expected above 0", i, s.theta[i], dt, diagonal))
		}
		upper[i] = above / diagonal
		x[i] = right / diagonal
	}
	for i := layers - 2; i >= 0; i-- {
		x[i] -= upper[i] * x[i+1]
	}
	return x
}

// accept moves the water and keeps what crossed the edges.
func (s *soil) accept(dt float64, source *[layers]float64, f *flows, q, dLow, dHigh *[layers + 1]float64, change *[layers]float64) {
	for e := range q {
		v := q[e]
		if e > 0 {
			v += dLow[e] * change[e-1]
		}
		if e < layers {
			v += dHigh[e] * change[e]
		}
		f.edge[e] += v * dt
	}
	for i := range s.theta {
		f.source[i] += source[i] * dt
		s.theta[i] += change[i]
		d := change[i]
		if d < 0 {
			s.path[i] += (1 - s.path[i]) * -math.Expm1(d/scanning)
		} else {
			s.path[i] *= math.Exp(-d / scanning)
		}
		if s.theta[i] >= s.c.ThetaS { // a full layer dries along the main curve
			s.path[i] = 1
		}
	}
}

// soak fills every layer.
func (s *soil) soak() {
	for i := range s.theta {
		s.theta[i], s.path[i] = s.c.ThetaS, 1
	}
}

// rest puts every layer in balance above a free outlet.
func (s *soil) rest(bottomSuction float64) {
	for i := range s.theta {
		s.theta[i], s.path[i] = s.c.content(bottomSuction+s.g.middle[i]), 1
	}
}
