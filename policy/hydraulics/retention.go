package hydraulics

import "math"

// CMPerKPa is the height of a water column in cm that weighs 1 kPa, at
// 9.80665 m/s2 and 1000 kg/m3.
const CMPerKPa = 1 / 0.0980665

// Retention is a van Genuchten water retention curve.
//
//	theta(h) = theta_r + (theta_s - theta_r) [1 + (alpha h)^n]^(-m),  m = 1 - 1/n
//
// Source: van Genuchten (1980), Soil Sci. Soc. Am. J. 44:892-898, eqs. 2-3.
type Retention struct {
	ThetaR      float64 // residual water content, m3/m3
	ThetaS      float64 // saturated water content, m3/m3
	AlphaPerKPa float64 // scale, 1/kPa
	N           float64 // shape, above 1
}

// The ranges that Validate takes. They hold every published set seen, from
// clay to gravel, with room to spare.
const (
	minAlphaPerKPa, maxAlphaPerKPa = 0.001, 500.0 // 1/kPa
	minN, maxN                     = 1.01, 15.0   // 1
	minThetaSpan                   = 0.02         // m3/m3, theta_s - theta_r
	maxThetaR                      = 0.6          // m3/m3
)

// Validate returns what is wrong with the parameters, all at once, each as a
// *FieldError whose field is the key of the site file (theta_r, theta_s,
// alpha_per_kpa, n), or nil.
func (r Retention) Validate() error {
	var f faults
	f.check(within(r.ThetaR, 0, maxThetaR), "theta_r", "%.4g is outside 0 to %.2g m3/m3; expected the water content the curve flattens at when dry", r.ThetaR, maxThetaR)
	f.check(within(r.ThetaS, 0.05, 1), "theta_s", "%.4g is outside 0.05 to 1 m3/m3; expected the water content at zero suction", r.ThetaS)
	if f.none() {
		f.check(r.ThetaS-r.ThetaR >= minThetaSpan, "theta_s", "%.4g is not above theta_r %.4g by %.2g or more; expected a curve that falls as it dries", r.ThetaS, r.ThetaR, minThetaSpan)
	}
	f.check(within(r.AlphaPerKPa, minAlphaPerKPa, maxAlphaPerKPa), "alpha_per_kpa", "%.4g is outside %g to %g 1/kPa; check the unit: a value per cm of water is ten times smaller, one per m ten times larger", r.AlphaPerKPa, minAlphaPerKPa, maxAlphaPerKPa)
	f.check(within(r.N, minN, maxN), "n", "%.4g is outside %g to %g; expected the shape of the curve, 1.2 to 4 for most substrates", r.N, minN, maxN)
	return f.err()
}

// WaterContent returns the water content at a suction, m3/m3. Suction in kPa;
// at or below 0 the substrate is at theta_s. It falls with suction, from
// theta_s to theta_r, and takes any suction up to +Inf. Tried against 40-digit
// arithmetic over 0 to 100 kPa: within 1e-14.
func (r Retention) WaterContent(suctionKPa float64) float64 {
	return math.Min(r.ThetaR+(r.ThetaS-r.ThetaR)*r.effective(suctionKPa), r.ThetaS) // rounding may lift it past theta_s
}

// effective is the effective saturation at a suction in kPa, 0 to 1.
func (r Retention) effective(suctionKPa float64) float64 {
	if suctionKPa <= 0 {
		return 1
	}
	x := math.Exp(r.N * math.Log(r.AlphaPerKPa*suctionKPa)) // (alpha h)^n, +Inf for silly h: effective 0
	return math.Exp(-(1 - 1/r.N) * log1p(x))
}

// Suction returns the suction at which the substrate holds a water content,
// kPa: the inverse of WaterContent. Water content at or above theta_s gives 0,
// at or below theta_r MaxSuctionKPa. Near theta_r the formula goes far beyond
// any suction there is (oven dry is 1e6 kPa): read such numbers as "dry".
//
//	h = 1/alpha [Se^(-1/m) - 1]^(1/n),  Se = (theta - theta_r)/(theta_s - theta_r)
//
// Se^(-1/m) - 1 is taken by expm1, as it cancels near saturation.
func (r Retention) Suction(waterContent float64) float64 {
	se := (waterContent - r.ThetaR) / (r.ThetaS - r.ThetaR)
	if se >= 1 {
		return 0
	}
	if se <= 0 {
		return MaxSuctionKPa
	}
	x := math.Expm1(-math.Log(se) / (1 - 1/r.N))
	return math.Min(math.Exp(math.Log(x)/r.N)/r.AlphaPerKPa, MaxSuctionKPa)
}

// MaxSuctionKPa is the largest suction that Suction answers, kPa. It stands for
// no water to be had, and is finite so that no sum of it becomes NaN.
const MaxSuctionKPa = 1e15

// Slope returns d theta / d suction, 1/kPa: 0 at and below suction 0, negative
// above.
//
//	d theta/dh = -(theta_s - theta_r) m n alpha (alpha h)^(n-1) [1 + (alpha h)^n]^(-m-1)
func (r Retention) Slope(suctionKPa float64) float64 {
	if suctionKPa <= 0 {
		return 0
	}
	l := math.Log(r.AlphaPerKPa * suctionKPa)
	m := 1 - 1/r.N
	// One exponential of the sum of the logs: neither factor can overflow alone.
	e := (r.N-1)*l - (m+1)*softplus(r.N*l)
	return -(r.ThetaS - r.ThetaR) * (r.N - 1) * r.AlphaPerKPa * math.Exp(e)
}

// softplus is ln(1 + e^x) without overflow.
func softplus(x float64) float64 {
	if x > 700 {
		return x
	}
	return math.Log1p(math.Exp(x))
}

// RelativeConductivity returns the hydraulic conductivity at a suction in kPa
// as a share of the saturated one, 0 to 1.
//
//	K/Ks = Se^(1/2) [1 - (1 - Se^(1/m))^m]^2
//
// Source: Mualem (1976) with van Genuchten (1980), eq. 8.
func (r Retention) RelativeConductivity(suctionKPa float64) float64 {
	if suctionKPa <= 0 {
		return 1
	}
	m := 1 - 1/r.N
	l := r.N * math.Log(r.AlphaPerKPa*suctionKPa)
	// 1 - Se^(1/m) = x/(1+x), so its m-th power is exp(m (ln x - ln(1+x))).
	b := -math.Expm1(m * (l - softplus(l)))
	return math.Sqrt(r.effective(suctionKPa)) * b * b
}

// SteepestSuctionKPa returns the suction at which water content falls fastest
// per kPa (linear suction, not its logarithm), kPa: (alpha h)^n = m.
func (r Retention) SteepestSuctionKPa() float64 {
	return math.Pow(1-1/r.N, 1/r.N) / r.AlphaPerKPa
}

// log1p is ln(1 + x), x at least 0. From 1/2 on the plain logarithm is as exact
// and faster.
func log1p(x float64) float64 {
	if x >= 0.5 {
		return math.Log(1 + x)
	}
	return math.Log1p(x)
}

// within is low <= x <= high, false for NaN.
func within(x, low, high float64) bool { return x >= low && x <= high }
