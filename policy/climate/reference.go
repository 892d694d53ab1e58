package climate

import "math"

// LatentHeat of evaporation of water, MJ/kg, at 20 Cel: FAO-56 Eq. 20 and
// Annex 3.
const LatentHeat = 2.45

// WaterOf turns energy into the depth of water that it evaporates: MJ/m2 to mm.
// FAO-56 Eq. 20 with 1/2.45, not the rounded 0.408.
func WaterOf(energyMJ float64) float64 { return energyMJ / LatentHeat }

// WindAt2M turns a wind measured at another height over short grass into that at
// 2 m. FAO-56 Eq. 47; below about 0.1 m it has no meaning.
//
//	u2 = uz 4.87 / ln(67.8 z - 5.42)
func WindAt2M(speed, heightM float64) float64 {
	return speed * 4.87 / math.Log(67.8*heightM-5.42)
}

// Surface is a reference crop by the two coefficients of its equation.
type Surface struct{ Cn, Cd float64 }

// The reference crops. Source: FAO-56 Eqs. 6 and 53 for the grass; ASCE-EWRI
// (2005) for the rest (coefficients from memory, their results verified).
var (
	GrassDay       = Surface{900, 0.34}
	GrassHour      = Surface{37, 0.34}
	ShortDayHour   = Surface{37, 0.24} // ASCE hourly, in daylight
	ShortNightHour = Surface{37, 0.96}
	TallDay        = Surface{1600, 0.38}
	TallDayHour    = Surface{66, 0.25}
	TallNightHour  = Surface{66, 1.7}
)

// Evaporation is what the Penman-Monteith equation of a reference crop takes.
type Evaporation struct {
	TemperatureCel float64
	NetRadiation   float64 // MJ/m2 per day or hour
	SoilHeat       float64 // likewise
	Wind2M         float64 // m/s
	DeficitKPa     float64
	PressureKPa    float64
}

// Reference returns the reference evapotranspiration, mm per day or hour.
//
//	ET = (0.408 Delta (Rn - G) + gamma Cn/(T + 273) u2 (es - ea)) / (Delta + gamma (1 + Cd u2))
//
// Source: FAO-56 Eq. 6 (day) and Eq. 53 (hour). Tried to 1e-9 against the
// equations at 40 digits, and to the printed digits of Examples 17 to 20.
func (s Surface) Reference(e Evaporation) float64 {
	delta := VapourPressureSlope(e.TemperatureCel)
	gamma := PsychrometricConstant(e.PressureKPa)
	return (0.408*delta*(e.NetRadiation-e.SoilHeat) +
		gamma*s.Cn/(e.TemperatureCel+273)*e.Wind2M*e.DeficitKPa) /
		(delta + gamma*(1+s.Cd*e.Wind2M))
}

// Day is a day of weather in the open.
type Day struct {
	Place
	Air               DayAir
	VapourPressureKPa float64
	Solar             float64 // MJ/m2/d
	Wind2M            float64 // m/s
	SoilHeat          float64 // MJ/m2/d, near 0 for a day
}

// NetRadiation returns it in MJ/m2/d, FAO-56 Eq. 40.
func (d Day) NetRadiation() float64 {
	clear := d.ClearSky(d.Extraterrestrial())
	return NetShortwave(d.Solar, ReferenceAlbedo) - NetLongwaveDay(d.Air, d.VapourPressureKPa, d.Solar, clear)
}

// Reference returns the day's reference evapotranspiration, mm.
func (d Day) Reference(s Surface) float64 {
	return s.Reference(Evaporation{
		TemperatureCel: (d.Air.MaxCel + d.Air.MinCel) / 2,
		NetRadiation:   d.NetRadiation(),
		SoilHeat:       d.SoilHeat,
		Wind2M:         d.Wind2M,
		DeficitKPa:     d.Air.SaturationVapourPressure() - d.VapourPressureKPa,
		PressureKPa:    AtmosphericPressure(d.ElevationM),
	})
}

// Hargreaves returns the reference evapotranspiration of a day, mm, from
// temperatures alone, FAO-56 Eq. 52.
func (p Place) Hargreaves(d DayAir) float64 {
	return 0.0023 * ((d.MaxCel+d.MinCel)/2 + 17.8) * math.Sqrt(d.MaxCel-d.MinCel) *
		0.408 * p.Extraterrestrial()
}

// Hour is an hour of weather in the open.
type Hour struct {
	HourPlace
	Air    Air
	Solar  float64 // MJ/m2/h
	Ratio  float64 // of solar to clear-sky radiation, for hours without light; 0: taken from the hour itself
	Wind2M float64 // m/s
}

// NetRadiation returns it in MJ/m2/h.
func (h Hour) NetRadiation() float64 {
	ratio := h.Ratio
	if ratio == 0 {
		ratio = nightRatio
		if clear := h.ClearSky(h.ExtraterrestrialHour()); clear > 0 {
			ratio = h.Solar / clear
		}
	}
	return NetShortwave(h.Solar, ReferenceAlbedo) - NetLongwaveHour(h.Air, ratio)
}

// SoilHeat returns what the soil takes of a net radiation in an hour: 0.1 of it
// by day, 0.5 by night, FAO-56 Eqs. 45 and 46.
func SoilHeat(netRadiation float64, daylight bool) float64 {
	if daylight {
		return 0.1 * netRadiation
	}
	return 0.5 * netRadiation
}

// Reference returns the hour's reference evapotranspiration, mm, with the
// night's small negative values left in.
func (h Hour) Reference(s Surface) float64 {
	net := h.NetRadiation()
	return s.Reference(Evaporation{
		TemperatureCel: h.Air.TemperatureCel,
		NetRadiation:   net,
		SoilHeat:       SoilHeat(net, h.Solar > 0),
		Wind2M:         h.Wind2M,
		DeficitKPa:     h.Air.Deficit(),
		PressureKPa:    AtmosphericPressure(h.ElevationM),
	})
}

// PriestleyTaylor returns the evaporation of a well-watered surface, mm/d.
// Source: Priestley & Taylor (1972), alpha 1.26.
func PriestleyTaylor(tCel, netRadiation, pressureKPa float64) float64 {
	delta, gamma := VapourPressureSlope(tCel), PsychrometricConstant(pressureKPa)
	return 1.26 * delta / (delta + gamma) * netRadiation / LatentHeat
}

// Makkink returns the reference evaporation of Makkink (1957), mm/d, as McMahon
// et al. (2013) give it: 0.61 of the radiation term less 0.12.
func Makkink(tCel, solar, pressureKPa float64) float64 {
	delta, gamma := VapourPressureSlope(tCel), PsychrometricConstant(pressureKPa)
	return 0.61*delta/(delta+gamma)*solar/LatentHeat - 0.12
}
