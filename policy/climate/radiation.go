package climate

import "math"

// The radiation of FAO-56, in MJ/m2 per day or hour. Its sun is a simpler one
// than that of [SunCourse]: no refraction, no disc, a declination good to
// 0.5 degrees. It is what the worked examples rest on and is kept apart.

const (
	solarConstant = 0.0820   // MJ/m2/min, FAO-56 Eq. 21
	boltzmannDay  = 4.903e-9 // MJ/K4/m2/d, FAO-56 Eq. 39
	kelvin        = 273.16   // of 0 Cel as FAO-56 Eq. 39 has it
	// ReferenceAlbedo is the share of light that the reference grass reflects,
	// FAO-56 Eq. 38.
	ReferenceAlbedo = 0.23
)

// Place is where and on which day of the year (1 to 366) radiation is asked for.
type Place struct {
	LatitudeDeg float64 // north
	DayOfYear   int
	ElevationM  float64
}

// InverseRelativeDistance returns that of earth and sun, FAO-56 Eq. 23.
func InverseRelativeDistance(dayOfYear int) float64 {
	return 1 + 0.033*math.Cos(2*math.Pi*float64(dayOfYear)/365)
}

// Declination returns the sun's, rad, FAO-56 Eq. 24.
func Declination(dayOfYear int) float64 {
	return 0.409 * math.Sin(2*math.Pi*float64(dayOfYear)/365-1.39)
}

// SunsetHourAngle returns it in rad, FAO-56 Eq. 25: pi on a polar day and 0 in a
// polar night, where the paper's formula has no value.
func (p Place) SunsetHourAngle() float64 {
	c := -math.Tan(p.LatitudeDeg*radians) * math.Tan(Declination(p.DayOfYear))
	return math.Acos(math.Min(math.Max(c, -1), 1))
}

// Extraterrestrial returns the radiation of a day on a horizontal surface above
// the air, MJ/m2/d, FAO-56 Eq. 21.
func (p Place) Extraterrestrial() float64 {
	phi, delta, ws := p.LatitudeDeg*radians, Declination(p.DayOfYear), p.SunsetHourAngle()
	return 24 * 60 / math.Pi * solarConstant * InverseRelativeDistance(p.DayOfYear) *
		(ws*math.Sin(phi)*math.Sin(delta) + math.Cos(phi)*math.Cos(delta)*math.Sin(ws))
}

// DaylightHours returns the longest sunshine a day can have, h, FAO-56 Eq. 34.
func (p Place) DaylightHours() float64 { return 24 / math.Pi * p.SunsetHourAngle() }

// ClearSky returns the share of an extraterrestrial radiation that reaches the
// ground under a clear sky, FAO-56 Eq. 37.
func (p Place) ClearSky(extraterrestrial float64) float64 {
	return (0.75 + 2e-5*p.ElevationM) * extraterrestrial
}

// Angstrom holds the two coefficients that turn sunshine into radiation.
type Angstrom struct{ A, B float64 }

// DefaultAngstrom is what FAO-56 takes where nothing was calibrated.
var DefaultAngstrom = Angstrom{A: 0.25, B: 0.50}

// FromSunshine returns the radiation of a day, MJ/m2/d, from its hours of
// sunshine, FAO-56 Eq. 35; in a polar night it is 0.
func (p Place) FromSunshine(hours float64, c Angstrom) float64 {
	n := p.DaylightHours()
	if n == 0 {
		return 0
	}
	return (c.A + c.B*hours/n) * p.Extraterrestrial()
}

// FromTemperatures returns the radiation of a day, MJ/m2/d, from the day's
// swing of temperature, FAO-56 Eq. 50; the coefficient is 0.16 inland, 0.19 at
// coasts.
func (p Place) FromTemperatures(d DayAir, coefficient float64) float64 {
	return coefficient * math.Sqrt(d.MaxCel-d.MinCel) * p.Extraterrestrial()
}

// cloudiness is the last factor of FAO-56 Eq. 39; the ratio is held between 0.3
// and 1 as ASCE-EWRI (2005) does.
func cloudiness(solar, clearSky float64) float64 {
	if clearSky <= 0 {
		return cloudinessOf(nightRatio)
	}
	return cloudinessOf(solar / clearSky)
}

func cloudinessOf(ratio float64) float64 {
	return 1.35*math.Min(math.Max(ratio, 0.3), 1) - 0.35
}

// nightRatio is the ratio of solar to clear-sky radiation where there is no
// light to take it from: between the 0.4 to 0.6 of humid and the 0.7 to 0.8 of
// arid places, FAO-56 chapter 4.
const nightRatio = 0.7

// NetLongwaveDay returns the heat radiation that a day takes off the crop,
// MJ/m2/d, FAO-56 Eq. 39.
func NetLongwaveDay(d DayAir, vapourPressureKPa, solar, clearSky float64) float64 {
	tx, tn := d.MaxCel+kelvin, d.MinCel+kelvin
	return boltzmannDay * (tx*tx*tx*tx + tn*tn*tn*tn) / 2 *
		(0.34 - 0.14*math.Sqrt(vapourPressureKPa)) * cloudiness(solar, clearSky)
}

// NetLongwaveHour returns that of an hour, MJ/m2/h; ratio is that of solar to
// clear-sky radiation.
func NetLongwaveHour(a Air, ratio float64) float64 {
	t := a.TemperatureCel + kelvin
	return 2.043e-10 * t * t * t * t * (0.34 - 0.14*math.Sqrt(a.VapourPressure())) * cloudinessOf(ratio)
}

// NetShortwave returns what of the light is not reflected, FAO-56 Eq. 38.
func NetShortwave(solar, albedo float64) float64 { return (1 - albedo) * solar }

// HourPlace is a place at one hour. Longitudes are degrees west of Greenwich, as
// the source has them and everyone else has not.
type HourPlace struct {
	Place
	LongitudeWestDeg     float64
	ZoneLongitudeWestDeg float64 // of the centre of the clock's zone
	MiddleH              float64 // standard clock time of the middle of the hour
}

// SolarAngle returns the solar time angle at the middle of the hour, rad,
// FAO-56 Eqs. 31 to 33.
func (p HourPlace) SolarAngle() float64 {
	b := 2 * math.Pi * float64(p.DayOfYear-81) / 364
	season := 0.1645*math.Sin(2*b) - 0.1255*math.Cos(b) - 0.025*math.Sin(b)
	return math.Pi / 12 * (p.MiddleH + 0.06667*(p.ZoneLongitudeWestDeg-p.LongitudeWestDeg) + season - 12)
}

// ExtraterrestrialHour returns the radiation of the hour above the air, MJ/m2/h,
// FAO-56 Eq. 28. The hour is cut at sunrise and sunset as ASCE-EWRI (2005) does;
// the paper leaves the hours at both ends of the day open.
func (p HourPlace) ExtraterrestrialHour() float64 {
	phi, delta, ws := p.LatitudeDeg*radians, Declination(p.DayOfYear), p.SunsetHourAngle()
	w := math.Remainder(p.SolarAngle(), 2*math.Pi)
	w1 := math.Min(math.Max(w-math.Pi/24, -ws), ws)
	w2 := math.Min(math.Max(w+math.Pi/24, -ws), ws)
	ra := 12 * 60 / math.Pi * solarConstant * InverseRelativeDistance(p.DayOfYear) *
		((w2-w1)*math.Sin(phi)*math.Sin(delta) + math.Cos(phi)*math.Cos(delta)*(math.Sin(w2)-math.Sin(w1)))
	return math.Max(ra, 0)
}

// MonthlySoilHeat returns what the soil takes in a month, MJ/m2/d, from the mean
// temperatures of the months before and after, FAO-56 Eq. 43.
func MonthlySoilHeat(previousCel, nextCel float64) float64 { return 0.07 * (nextCel - previousCel) }
