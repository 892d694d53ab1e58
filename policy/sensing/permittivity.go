package sensing

import (
	"fmt"
	"math"
)

// horner evaluates a polynomial, constant term first.
func horner(coefficients []float64, x float64) float64 {
	y := 0.0
	for i := len(coefficients) - 1; i >= 0; i-- {
		y = y*x + coefficients[i]
	}
	return y
}

// Published cubics of the apparent permittivity, constant term first. Those of
// mineral soils read low in organic and fibrous media by 0.05 to 0.15 (from
// memory): there an organic form, or best the site's own points, should stand.
var (
	toppCubic       = [4]float64{-5.3e-2, 2.92e-2, -5.5e-4, 4.3e-6}  // Topp, Davis & Annan (1980) Eq. 7, mineral soils to 0.55
	rothMineral     = [4]float64{-0.0728, 0.0448, -0.00195, 3.61e-5} // Roth, Malicki & Plagge (1992), mineral
	rothOrganic     = [4]float64{-0.0233, 0.0285, -4.31e-4, 3.04e-6} // the same, organic; coefficients from memory
	pepinPeat       = [4]float64{0.085, 0.0192, -0.95e-4, 0}         // Pepin, Plamondon & Stein (1992), peat; from memory
	nadlerCubic     = [4]float64{-0.0725, 0.0367, -0.00123, 1.5e-5}  // Nadler, Dasberg & Lapid (1991)
	jacobsenCubic   = [4]float64{-0.0701, 0.0347, -0.00116, 1.8e-5}  // Jacobsen & Schjonning (1993) Eq. 1
	steelmanCubic   = [4]float64{-0.157, 0.0565, -0.00203, 2.97e-5}  // Steelman & Endres (2011)
	waterPolynomial = [4]float64{87.740, -0.40008, 9.398e-4, -1.410e-6}
)

// publishedForm evaluates a calibration that needs nothing but permittivity.
func publishedForm(kind string, permittivity float64) (wc float64, known bool) {
	switch kind {
	case "topp":
		return horner(toppCubic[:], permittivity), true
	case "ledieu":
		return Ledieu(permittivity), true
	case "roth-mineral":
		return horner(rothMineral[:], permittivity), true
	case "roth-organic":
		return horner(rothOrganic[:], permittivity), true
	case "pepin-peat":
		return horner(pepinPeat[:], permittivity), true
	case "schaap-forest-floor":
		return Schaap(permittivity), true
	case "nadler":
		return horner(nadlerCubic[:], permittivity), true
	case "jacobsen-schjonning":
		return horner(jacobsenCubic[:], permittivity), true
	case "steelman-endres":
		return horner(steelmanCubic[:], permittivity), true
	}
	return 0, false
}

// Topp returns the water content of a mineral soil, m3/m3, of its apparent
// permittivity.
//
//	theta = -5.3e-2 + 2.92e-2 e - 5.5e-4 e^2 + 4.3e-6 e^3
//
// Source: Topp, Davis & Annan (1980) Eq. 7. Fitted to about 0.55 and e 40; it
// rises everywhere, is -0.024 in air and has no bound above.
func Topp(permittivity float64) float64 { return horner(toppCubic[:], permittivity) }

// ToppPermittivity returns the permittivity at which [Topp] gives a water
// content from -0.02 to 1.5, its exact inverse to 1e-10. The authors' own
// polynomial for it is another function, 3.7 off at 0.5.
func ToppPermittivity(waterContent float64) float64 {
	low, high := 1.0, 120.0
	if !(waterContent >= Topp(low) && waterContent <= Topp(high)) {
		panic(fmt.Sprintf("sensing: inverse of topp: water content %v is outside -0.02 to 1.5", waterContent))
	}
	for range 60 {
		if mid := (low + high) / 2; Topp(mid) < waterContent {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// Ledieu returns the water content of a soil, m3/m3.
//
//	theta = 0.1138 sqrt(e) - 0.1758
//
// Source: Ledieu et al. (1986), from memory; a public collection prints 0.1788,
// 0.003 lower.
func Ledieu(permittivity float64) float64 { return 0.1138*math.Sqrt(permittivity) - 0.1758 }

// Malicki returns the water content, m3/m3, at a bulk density in g/cm3.
//
//	theta = (sqrt(e) - 0.809 - 0.168 r - 0.159 r^2) / (7.17 + 1.18 r)
//
// Source: Malicki, Plagge & Roth (1996), for 0.13 to 2.67 g/cm3; peat and coir
// (0.05 to 0.12) lie just outside.
func Malicki(permittivity, bulkDensity float64) float64 {
	return (math.Sqrt(permittivity) - malickiDry(bulkDensity)) / (7.17 + 1.18*bulkDensity)
}

// MalickiPermittivity is the inverse of [Malicki].
func MalickiPermittivity(waterContent, bulkDensity float64) float64 {
	root := malickiDry(bulkDensity) + (7.17+1.18*bulkDensity)*waterContent
	return root * root
}

func malickiDry(r float64) float64 { return 0.809 + 0.168*r + 0.159*r*r }

// Schaap returns the water content of forest floor, m3/m3.
//
//	theta = (0.136 sqrt(e) - 0.119)^1.248
//
// Source: Schaap et al. (1997), coefficients from memory. At or below e 0.766,
// where the root vanishes, it is 0.
func Schaap(permittivity float64) float64 {
	return math.Pow(math.Max(0.136*math.Sqrt(permittivity)-0.119, 0), 1.248)
}

// WaterPermittivity returns that of pure water at 0 to 100 Cel.
//
//	87.740 - 0.40008 T + 9.398e-4 T^2 - 1.410e-6 T^3
//
// Source: Malmberg & Maryott (1956).
func WaterPermittivity(tCel float64) float64 { return horner(waterPolynomial[:], tCel) }

// LinearWaterPermittivity is the simpler form that is used with the model of
// Hilhorst, 80.3 - 0.37 (T - 20), from memory; 0.2 % above the other at 25 Cel.
func LinearWaterPermittivity(tCel float64) float64 { return 80.3 - 0.37*(tCel-20) }
