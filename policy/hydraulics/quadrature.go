package hydraulics

import "math"

// The 16-point Gauss-Legendre rule on -1 to 1, its positive half. Source:
// Abramowitz & Stegun (1964), table 25.4; checked in the tests against the
// rule of a general library.
var (
	gaussX = [8]float64{
		0.0950125098376374401853193, 0.2816035507792589132304605,
		0.4580167776572273863424194, 0.6178762444026437484466718,
		0.7554044083550030338951012, 0.8656312023878317438804679,
		0.9445750230732325760779884, 0.9894009349916499325961542,
	}
	gaussW = [8]float64{
		0.1894506104550684962853967, 0.1826034150449235888667637,
		0.1691565193950025381893121, 0.1495959888165767320815017,
		0.1246289712555338720524763, 0.0951585116824927848099251,
		0.0622535239386478928628438, 0.0271524594117540948517806,
	}
)

// heldOver returns the integral of theta(s0 + z) (a0 + a1 z + a2 z2) over z
// from z0 to z1, and its derivative by s0; s0 and z in cm, a the polynomial.
//
// Water content is smooth above suction 0 but not at it, where it falls like
// suction^n: the range is cut at suction 0, and above it into panels that double
// in suction, each with the 16-point rule. Tried against 40-digit quadrature of
// 99 containers: within 1e-12 of the mean.
func (r Retention) heldOver(s0, z0, z1 float64, a [3]float64) (held, slope float64) {
	if z0+s0 < 0 { // full of water up to where suction begins
		top := math.Min(-s0, z1)
		held = r.ThetaS * (polyIntegral(a, top) - polyIntegral(a, z0))
		z0 = top
	}
	first := 1e-4 * CMPerKPa / r.AlphaPerKPa // cm of suction: (alpha h)^n at most 1e-4
	for z0 < z1 {
		next := math.Min(z1, math.Max(2*(z0+s0), first)-s0)
		if z1-next < 1e-9*(z1-z0) || next <= z0 {
			next = z1
		}
		mid, half := (next+z0)/2, (next-z0)/2
		for k, x := range gaussX {
			for _, z := range [2]float64{mid - half*x, mid + half*x} {
				w := gaussW[k] * half * (a[0] + z*(a[1]+z*a[2]))
				theta, c := r.both((s0 + z) / CMPerKPa)
				held += w * theta
				slope += w * c
			}
		}
		z0 = next
	}
	return held, slope / CMPerKPa
}

// both returns water content and slope at a suction in kPa, above 0, for the
// price of one.
func (r Retention) both(suctionKPa float64) (theta, slope float64) {
	x := math.Exp(r.N * math.Log(r.AlphaPerKPa*suctionKPa))
	if math.IsInf(x, 1) {
		return r.ThetaR, 0
	}
	se := math.Exp(-(1 - 1/r.N) * log1p(x))
	span := r.ThetaS - r.ThetaR
	return r.ThetaR + span*se, -span * (r.N - 1) / suctionKPa * se * x / (1 + x)
}

// polyIntegral is the integral of a0 + a1 z + a2 z2 from 0 to z.
func polyIntegral(a [3]float64, z float64) float64 {
	return z * (a[0] + z*(a[1]/2+z*a[2]/3))
}
