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

// at gives what the water of layer i does at a content. A layer on its way
// between the branches answers more steeply than either: the slope is that of
// the steeper way, so that a step is stable whichever way it goes.
func (s *soil) at(i int, theta float64, full bool) point {
	p := s.c.at(theta, full)
	if full {
		return p
	}
	p.ds = s.scale(i)*p.ds - p.s*(1-s.c.WettingRatio)*math.Max(s.path[i], 1-s.path[i])/scanning
	p.s *= s.scale(i)
	return p
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

// branches is how often a step is solved anew because a layer filled up or
// began to drain, or the film on top ran out, within it.
const branches = 8

// try takes one step if no layer changes too much, and else gives the shorter
// step to try next. Suction has a kink where a layer is full: the step is
// solved about a point on the side where the layer ends up (Newton's method
// with an active set).
func (s *soil) try(dt float64, source *[layers]float64, f *flows, pond *float64) (float64, bool) {
	about := s.theta
	var p [layers]point
	var full [layers]bool
	for i := range full {
		full[i] = about[i] >= s.c.ThetaS
	}
	var step linear
	shut, filmless, settled := false, *pond == 0, false
	for range branches {
		for i := range p {
			p[i] = s.at(i, about[i], full[i])
		}
		step.fluxes(s, &p)
		if shut {
			step.q[0], step.high[0] = 0, 0
		}
		if filmless {
			step.q[layers], step.low[layers] = *pond/dt, 0
		}
		step.solve(s, dt, source, &about)
		settled = true
		if !shut && step.through(0) < 0 { // nothing comes back through the hole
			shut, settled = true, false
		}
		if !filmless && step.through(layers)*dt >= *pond { // all that stands on top soaks in
			filmless, settled = true, false
		}
		if !settled {
			continue
		}
		for i := range about {
			about[i] += step.x[i]
			if now := about[i] >= s.c.ThetaS; now != full[i] {
				full[i], about[i], settled = now, s.c.ThetaS, false
			}
		}
		if settled {
			break
		}
	}
	largest := 0.0
	for i := range about {
		largest = math.Max(largest, math.Abs(about[i]-s.theta[i]))
		if about[i] < s.c.ThetaR*0.5 {
			largest = 1
		}
	}
	if (!settled || largest > largestChange || step.through(layers) < 0) && dt > shortestStep {
		return dt / 3, false
	}
	if !settled {
		panic(fmt.Sprintf("simulator: water of %+v does not settle in %g s with %g mL on top", s.theta, dt, *pond))
	}
	s.accept(dt, source, f, &step, &about)
	*pond = math.Max(*pond-step.through(layers)*dt, 0)
	if filmless {
		*pond = 0
	}
	return dt, true
}

// linear is a step's system: the downward flow through every edge, mL/s, its
// slopes with the water content of the layer below and above the edge, and the
// solved changes of the layers' water content, m3/m3.
type linear struct {
	q, low, high [layers + 1]float64
	x            [layers]float64
}

// through is the solved flow through an edge, mL/s.
func (l *linear) through(e int) float64 {
	v := l.q[e]
	if e > 0 {
		v += l.low[e] * l.x[e-1]
	}
	if e < layers {
		v += l.high[e] * l.x[e]
	}
	return v
}

// fluxes works out the flows and slopes where the layers' water is at p.
func (l *linear) fluxes(s *soil, p *[layers]point) {
	g := s.g
	// the drain hole: suction there is minus the standing water
	l.q[0], l.high[0] = 0, 0
	if drive := 1 - (p[0].s+s.outlet)/g.middle[0]; drive > 0 {
		l.q[0] = g.area[0] * p[0].k * drive
		l.high[0] = g.area[0] * (p[0].dk*drive - p[0].k*p[0].ds/g.middle[0])
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
		l.q[e] = a * k * drive
		l.low[e] = a * (dkLow*drive + k*low.ds/d)
		l.high[e] = a * (dkHigh*drive - k*high.ds/d)
	}
	// soaking in from a film on top: the conductivity is that of wet substrate
	top := &p[layers-1]
	d := g.edge[layers] - g.middle[layers-1]
	a, k := g.area[layers], s.c.conductivity[nodes]
	l.q[layers], l.low[layers] = math.Max(a*k*(1+top.s/d), 0), 0
	if l.q[layers] > 0 {
		l.low[layers] = a * k * top.ds / d
	}
}

// solve gives the changes from about that close every layer's balance over dt,
//
//	V (about + x - theta)/dt = in - out + source,
//
// by the tridiagonal algorithm of Thomas.
func (l *linear) solve(s *soil, dt float64, source, about *[layers]float64) {
	var upper [layers]float64
	x := &l.x
	for i := range layers {
		v := s.g.volume[i] / dt
		diagonal := v - l.low[i+1] + l.high[i]
		above := -l.high[i+1] // on x of the layer above; none at the top
		below := l.low[i]     // on x of the layer below; none at the bottom
		x[i] = l.q[i+1] - l.q[i] + source[i] - v*(about[i]-s.theta[i])
		if i == layers-1 {
			above = 0
		}
		if i > 0 {
			diagonal -= below * upper[i-1]
			x[i] -= below * x[i-1]
		}
		if !(diagonal > 0) {
			panic(fmt.Sprintf("simulator: layer %d of theta %g over %g s has the diagonal %g; expected above 0", i, s.theta[i], dt, diagonal))
		}
		upper[i] = above / diagonal
		x[i] /= diagonal
	}
	for i := layers - 2; i >= 0; i-- {
		x[i] -= upper[i] * x[i+1]
	}
}

// accept moves the water and keeps what crossed the edges.
func (s *soil) accept(dt float64, source *[layers]float64, f *flows, l *linear, theta *[layers]float64) {
	for e := range f.edge {
		f.edge[e] += l.through(e) * dt
	}
	for i := range s.theta {
		f.source[i] += source[i] * dt
		d := theta[i] - s.theta[i]
		s.theta[i] = theta[i]
		// a change of a hundredth of the scanning needs no exponential
		x := math.Abs(d) / scanning
		if x > 0.01 {
			x = -math.Expm1(-x)
		}
		if d < 0 {
			s.path[i] += (1 - s.path[i]) * x
		} else {
			s.path[i] *= 1 - x
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
