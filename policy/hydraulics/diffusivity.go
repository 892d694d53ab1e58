package hydraulics

import "math"

// DiffusivityModel says how freely gas diffuses through a substrate with some
// air in its pores, against free air.
type DiffusivityModel string

// The models, Ds/D0 with e the air-filled and phi the total porosity. Forms from
// memory, checked against a public collection where it had them. All were
// fitted to mineral soil or glass beads; peat and bark have dead-end pores and
// usually lie below them (King & Smith 1987; Caron & Nkongolo 2004), so take a
// result as the middle of a wide band, never as a measurement.
const (
	Buckingham1904      DiffusivityModel = "buckingham-1904"       // e^2
	Penman1940          DiffusivityModel = "penman-1940"           // 0.66 e
	Marshall1959        DiffusivityModel = "marshall-1959"         // e^(3/2)
	Millington1959      DiffusivityModel = "millington-1959"       // e^(4/3)
	MillingtonQuirk1960 DiffusivityModel = "millington-quirk-1960" // e^2 / phi^(2/3)
	MillingtonQuirk1961 DiffusivityModel = "millington-quirk-1961" // e^(10/3) / phi^2
	MoldrupRepacked2000 DiffusivityModel = "moldrup-repacked-2000" // e^(5/2) / phi
)

// DefaultDiffusivity is the model of the aeration margin: that of Moldrup and
// others (2000) for sieved and repacked soil, because a filled container is
// just that, and because it puts the Ds/D0 of 0.005 that is often called
// critical (memory) at an air-filled porosity of 0.107 to 0.115 for porosities
// of 0.75 to 0.90, where measurements in container beds put it too (0.10, Acta
// Agrophysica 10:113-120, 2007). Millington & Quirk (1961) puts it at 0.17 to
// 0.19 and would call many good substrates critical.
const DefaultDiffusivity = MoldrupRepacked2000

// RelativeDiffusivity returns Ds/D0, 0 to 1. Air-filled porosity 0 to total
// porosity, m3/m3 (below 0 is taken as 0); total porosity above 0. An unknown
// model panics.
func (m DiffusivityModel) RelativeDiffusivity(airFilledPorosity, totalPorosity float64) float64 {
	c, k := m.power(totalPorosity)
	if airFilledPorosity <= 0 {
		return 0
	}
	return c * math.Pow(airFilledPorosity, k)
}

// AirFilledPorosity returns the air-filled porosity at which the model gives a
// relative diffusivity, m3/m3: the inverse of RelativeDiffusivity. It may come
// out above total porosity, when no air content gives it.
func (m DiffusivityModel) AirFilledPorosity(relativeDiffusivity, totalPorosity float64) float64 {
	c, k := m.power(totalPorosity)
	if relativeDiffusivity <= 0 {
		return 0
	}
	return math.Pow(relativeDiffusivity/c, 1/k)
}

// power is the model as c e^k.
func (m DiffusivityModel) power(phi float64) (c, k float64) {
	switch m {
	case Buckingham1904:
		return 1, 2
	case Penman1940:
		return 0.66, 1
	case Marshall1959:
		return 1, 1.5
	case Millington1959:
		return 1, 4.0 / 3
	case MillingtonQuirk1960:
		return math.Pow(phi, -2.0/3), 2
	case MillingtonQuirk1961:
		return 1 / (phi * phi), 10.0 / 3
	case MoldrupRepacked2000:
		return 1 / phi, 2.5
	}
	panic("hydraulics: no diffusivity model " + string(m))
}
