package hydraulics

import (
	"fmt"
	"math"
)

// StandardPressureKPa is the pressure of the standard atmosphere, kPa.
const StandardPressureKPa = 101.325

// ReferenceTemperatureCel is the root-zone temperature that critical
// air-filled porosities are told for, Cel (common practice, no source).
const ReferenceTemperatureCel = 20.0

// DefaultQ10 is the factor by which root respiration grows per 10 K: the
// customary 2, of a range of 1.5 to 3 (Atkin & Tjoelker 2003, memory).
const DefaultQ10 = 2.0

// DissolvedOxygen returns the oxygen that fresh water in balance with moist air
// holds, mg/L. Temperature 0 to 40 Cel, pressure 50 to 115 kPa; an error
// outside. The salt of a feed (1 to 4 mS/cm) lowers it by 0.3 to 1.5 %, left out.
//
//	ln C = -139.34411 + 1.575701e5/T - 6.642308e7/T^2 + 1.243800e10/T^3 - 8.621949e11/T^4
//	C(P) = C P [(1 - Pwv/P)(1 - th P)] / [(1 - Pwv)(1 - th)],  P in atm
//
// Source: Benson & Krause (1980, 1984) as the standard methods for water print
// it (APHA 4500-O); th's constants from memory. Agrees with the Garcia & Gordon
// equation of a general library within 0.02 %.
func DissolvedOxygen(temperatureCel, pressureKPa float64) (float64, error) {
	if !within(temperatureCel, 0, 40) {
		return 0, fmt.Errorf("dissolved oxygen: temperature %.4g is outside 0 to 40 Cel", temperatureCel)
	}
	if !within(pressureKPa, 50, 115) {
		return 0, fmt.Errorf("dissolved oxygen: pressure %.4g is outside 50 to 115 kPa", pressureKPa)
	}
	k := temperatureCel + 273.15
	p := pressureKPa / StandardPressureKPa
	pwv := math.Exp(11.8571 - 3840.70/k - 216961/(k*k))
	th := 0.000975 - 1.426e-5*temperatureCel + 6.436e-8*temperatureCel*temperatureCel
	return math.Exp(lnSolubility(temperatureCel)) * p * ((1 - pwv/p) * (1 - th*p)) / ((1 - pwv) * (1 - th)), nil
}

// lnSolubility is the logarithm of the solubility at the standard pressure, mg/L.
func lnSolubility(temperatureCel float64) float64 {
	u := 1 / (temperatureCel + 273.15)
	return -139.34411 + u*(1.575701e5+u*(-6.642308e7+u*(1.243800e10-u*8.621949e11)))
}

// RelativeDemand returns root respiration against that at a reference
// temperature, 1: q10^((t - tRef)/10).
func RelativeDemand(q10, temperatureCel, referenceCel float64) float64 {
	return math.Pow(q10, (temperatureCel-referenceCel)/10)
}

// OxygenBurden returns by how much harder it is to keep roots in oxygen than at
// 20 Cel, 1: their demand grown (Q10 of 2) over the solubility shrunk. It is 1
// at 20 Cel, 2.41 at 30 Cel, 0.40 at 10 Cel. Temperature in Cel, taken as the
// nearer end outside 0 to 40, where both formulas were tried.
//
// The faster diffusion in warmer air (some 6 % per 10 K) is left out: it is
// small beside this and errs to the safe side.
func OxygenBurden(temperatureCel float64) float64 {
	if temperatureCel != temperatureCel {
		panic("hydraulics: root-zone temperature is NaN")
	}
	t := math.Min(math.Max(temperatureCel, 0), 40)
	return math.Exp(lnDefaultQ10/10*(t-ReferenceTemperatureCel) + lnSolubility20 - lnSolubility(t))
}

var (
	lnDefaultQ10   = math.Log(DefaultQ10)
	lnSolubility20 = lnSolubility(ReferenceTemperatureCel)
)
