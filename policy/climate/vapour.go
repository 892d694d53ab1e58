package climate

import "math"

// SaturationVapourPressure returns the pressure of water vapour over a flat
// surface of water, kPa, at a temperature in Celsius.
//
//	e0 = 0.6108 exp(17.27 T / (T + 237.3))
//
// Source: FAO-56 Eq. 11 (Tetens 1930, Murray 1967). Range 0 to 50 Cel, where it
// is within 0.06 % of Hyland & Wexler at 0 Cel and 0.12 % at 50 Cel; below 0 it
// is the pressure over supercooled water, not over ice. At or under -237.3 Cel,
// where the formula has its pole, it panics.
func SaturationVapourPressure(tCel float64) float64 {
	if !(tCel > -237.3) {
		panicNumber("saturation vapour pressure", tCel)
	}
	return 0.6108 * math.Exp(17.27*tCel/(tCel+237.3))
}

// VapourPressureSlope returns the slope of the saturation curve, kPa/K.
//
//	Delta = 4098 e0(T) / (T + 237.3)^2
//
// Source: FAO-56 Eq. 13. The derivative of Eq. 11 has 4098.17 for 4098.
func VapourPressureSlope(tCel float64) float64 {
	d := tCel + 237.3
	return 4098 * SaturationVapourPressure(tCel) / (d * d)
}

// AtmosphericPressure returns the mean pressure of the air, kPa, at an
// elevation in m, for 20 Cel at sea level.
//
//	P = 101.3 ((293 - 0.0065 z) / 293)^5.26
//
// Source: FAO-56 Eq. 7. Range -400 to 9000 m.
func AtmosphericPressure(elevationM float64) float64 {
	return 101.3 * math.Pow((293-0.0065*elevationM)/293, 5.26)
}

// PsychrometricConstant returns gamma, kPa/K, at an air pressure in kPa.
//
//	gamma = 0.665e-3 P
//
// Source: FAO-56 Eq. 8 (cp 1.013e-3 MJ/kg/K, ratio of molar masses 0.622,
// latent heat 2.45 MJ/kg).
func PsychrometricConstant(pressureKPa float64) float64 { return 0.665e-3 * pressureKPa }

// Air is the air of one instant.
type Air struct {
	TemperatureCel  float64
	HumidityPercent float64 // relative, 0 to 100; outside it is clamped
}

// VapourPressure returns the actual vapour pressure of the air, kPa.
func (a Air) VapourPressure() float64 {
	return SaturationVapourPressure(a.TemperatureCel) * (math.Min(math.Max(a.HumidityPercent, 0), 100) / 100)
}

// Deficit returns the vapour pressure deficit of the air, kPa:
// e0(T) (1 - RH/100). It is the published one; the deficit at a leaf differs as
// the leaf is warmer or cooler than the air, see [Air.LeafDeficit].
func (a Air) Deficit() float64 {
	return SaturationVapourPressure(a.TemperatureCel) - a.VapourPressure()
}

// LeafDeficit returns the vapour pressure deficit from a leaf at its own
// temperature to the air, kPa: e0(Tleaf) - ea. Below 0 dew falls on the leaf.
func (a Air) LeafDeficit(leafCel float64) float64 {
	return SaturationVapourPressure(leafCel) - a.VapourPressure()
}

// WetBulb is what a ventilated psychrometer reads.
type WetBulb struct {
	DryCel, WetCel float64
	PressureKPa    float64
}

// VapourPressure returns the actual vapour pressure, kPa.
//
//	ea = e0(Twet) - 0.000662 P (Tdry - Twet)
//
// Source: FAO-56 Eqs. 15 and 16, the coefficient of the ventilated (Asmann)
// kind.
func (w WetBulb) VapourPressure() float64 {
	return SaturationVapourPressure(w.WetCel) - 0.000662*w.PressureKPa*(w.DryCel-w.WetCel)
}

// DayAir is the air of one day by its extremes.
type DayAir struct {
	MaxCel, MinCel                         float64
	HumidityMaxPercent, HumidityMinPercent float64
}

// SaturationVapourPressure returns the day's mean, kPa, the mean of the two
// extremes' and not that of the mean temperature, which is lower: 2.39 against
// 2.30 in Example 3. Source: FAO-56 Eq. 12.
func (d DayAir) SaturationVapourPressure() float64 {
	return (SaturationVapourPressure(d.MaxCel) + SaturationVapourPressure(d.MinCel)) / 2
}

// VapourPressure returns the day's actual vapour pressure, kPa, the highest
// humidity taken with the lowest temperature. Source: FAO-56 Eq. 17.
func (d DayAir) VapourPressure() float64 {
	return (SaturationVapourPressure(d.MinCel)*d.HumidityMaxPercent +
		SaturationVapourPressure(d.MaxCel)*d.HumidityMinPercent) / 200
}

// VapourPressureOfMean returns the day's actual vapour pressure, kPa, where only
// the mean humidity is known. Source: FAO-56 Eq. 19; 5 % above Eq. 17 on the
// same day of Examples 5 and 6.
func (d DayAir) VapourPressureOfMean(humidityMeanPercent float64) float64 {
	return d.SaturationVapourPressure() * humidityMeanPercent / 100
}
