package simulator

import (
	"fmt"
	"math"
)

// Substrate is what fills a container.
type Substrate struct {
	Name          string
	TotalPorosity float64 // m3/m3, at least ThetaS
	ThetaR        float64 // m3/m3
	ThetaS        float64 // m3/m3
	AlphaPerCM    float64 // 1/cm of water
	N             float64 // above 1
	KsCMPerH      float64 // saturated conductivity, cm/h
	// Tortuosity is the power of effective saturation in the conductivity,
	// K = Ks Se^p: Brooks & Corey (1964, Hydrology Papers 3, Colorado State)
	// with the power left free, because Mualem's integral makes coarse bark
	// with its two kinds of pores drain for weeks. 3 to 8.
	Tortuosity float64
	// WettingRatio is the suction on the way up over that on the way down at
	// the same water content, 0.4 to 1; 1 is no hysteresis.
	WettingRatio float64
	// BypassWet and BypassDry are the shares of a shot that run past the
	// substrate when it is wettable and when it has dried and repels, 0 to 0.9.
	BypassWet, BypassDry float64
}

// check tells what of a substrate cannot be.
func (s Substrate) check() error {
	switch {
	case !(s.ThetaR >= 0 && s.ThetaR < s.ThetaS && s.ThetaS <= s.TotalPorosity && s.TotalPorosity < 1):
		return fmt.Errorf("substrate %s: theta_r %g, theta_s %g, total porosity %g; expected 0 <= theta_r < theta_s <= porosity < 1", s.Name, s.ThetaR, s.ThetaS, s.TotalPorosity)
	case !(s.AlphaPerCM > 0 && s.N > 1 && s.KsCMPerH > 0 && s.Tortuosity >= 1):
		return fmt.Errorf("substrate %s: alpha %g, n %g, ks %g, tortuosity %g; expected above 0, above 1, above 0, at least 1", s.Name, s.AlphaPerCM, s.N, s.KsCMPerH, s.Tortuosity)
	case !(s.WettingRatio > 0 && s.WettingRatio <= 1):
		return fmt.Errorf("substrate %s: wetting ratio %g; expected above 0, at most 1", s.Name, s.WettingRatio)
	case !(s.BypassWet >= 0 && s.BypassDry >= s.BypassWet && s.BypassDry <= 0.9):
		return fmt.Errorf("substrate %s: bypass %g wet and %g dry; expected 0 <= wet <= dry <= 0.9", s.Name, s.BypassWet, s.BypassDry)
	}
	return nil
}

// nodes of a curve over effective saturation; straight between them.
const nodes = 1024

// storage is the water taken in per cm of pressure above saturation, 1/cm: the
// air that stays trapped gives way a little.
const storage = 2e-4

// curve is suction and conductivity tabulated over effective saturation, so
// that a step costs no powers. It never changes once made.
type curve struct {
	Substrate
	suction      [nodes + 1]float64 // cm, on the way down
	conductivity [nodes + 1]float64 // cm/s
}

// newCurve tabulates van Genuchten (1980) eq. 3 solved for suction,
//
//	s = (Se^(-1/m) - 1)^(1/n) / alpha,  m = 1 - 1/n,
//
// and K = Ks Se^p. The driest node repeats the one above it.
func newCurve(s Substrate) *curve {
	c := &curve{Substrate: s}
	m := 1 - 1/s.N
	for i := 1; i <= nodes; i++ {
		se := float64(i) / nodes
		c.suction[i] = math.Pow(math.Max(math.Pow(se, -1/m)-1, 0), 1/s.N) / s.AlphaPerCM
		c.conductivity[i] = s.KsCMPerH / 3600 * math.Pow(se, s.Tortuosity)
	}
	c.suction[0] = 2*c.suction[1] - c.suction[2]
	return c
}

// point is what a layer's water does at its content: suction cm and its slope
// per m3/m3, conductivity cm/s and its slope.
type point struct{ s, ds, k, dk float64 }

// at reads the drying curve, or what a full layer does.
func (c *curve) at(theta float64, full bool) point {
	span := c.ThetaS - c.ThetaR
	if full {
		return point{(c.ThetaS - theta) / storage, -1 / storage, c.conductivity[nodes], 0}
	}
	x := math.Max((theta-c.ThetaR)/span, 0) * nodes
	i := min(int(x), nodes-1)
	f := x - float64(i)
	s0, s1, k0, k1 := c.suction[i], c.suction[i+1], c.conductivity[i], c.conductivity[i+1]
	perTheta := nodes / span
	return point{s0 + f*(s1-s0), (s1 - s0) * perTheta, k0 + f*(k1-k0), (k1 - k0) * perTheta}
}

// saturation is the effective saturation, 0 to 1.
func (c *curve) saturation(theta float64) float64 {
	return math.Min(math.Max((theta-c.ThetaR)/(c.ThetaS-c.ThetaR), 0), 1)
}

// content is the water content at a suction on the way down, van Genuchten
// (1980) eq. 3 with the residual.
func (c *curve) content(suction float64) float64 {
	if suction <= 0 {
		return c.ThetaS
	}
	return c.ThetaR + (c.ThetaS-c.ThetaR)*math.Pow(1+math.Pow(c.AlphaPerCM*suction, c.N), 1/c.N-1)
}
