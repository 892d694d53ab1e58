package climate

import (
	"math"
	"time"
)

const (
	radians = math.Pi / 180
	// apparentHorizon is the altitude of the sun's centre, degrees, as its upper
	// limb appears or vanishes: refraction 34', radius 16'. Source: Meeus (1998)
	// Astronomical Algorithms, ch. 15.
	apparentHorizon = -0.8333
)

// Sun is what the sun does on a day.
type Sun uint8

// What it can do.
const (
	Rises      Sun = iota // and sets
	PolarDay              // it stays up
	PolarNight            // it stays down
)

// SunCourse returns sunrise and sunset of the civil day that holds t in t's own
// location, at a latitude (degrees north, -90 to 90) and a longitude (degrees
// east, -180 to 180), both UTC. On a polar day or night both are the sun's
// transit (its noon), and the Sun says which it is.
//
// The day is the solar one whose transit is nearest to the civil noon, so a
// zone whose clock runs hours off the sun still gets its own day's two events;
// sunset may then fall on the next civil date. Position of the sun: Meeus (1998)
// ch. 25, low accuracy (0.01 degrees); horizon -0.8333 degrees, ch. 15. Within
// 13 s of a general astronomy library on 15 days from 1950 to 2050 up to 64
// degrees of latitude; a real horizon and unusual air shift it by minutes.
func SunCourse(t time.Time, latitude, longitude float64) (rise, set time.Time, sun Sun) {
	if !(math.Abs(latitude) <= 90) || !(math.Abs(longitude) <= 180) {
		panicNumber("sun course: latitude or longitude", latitude, longitude)
	}
	y, m, d := t.Date()
	noon := float64(time.Date(y, m, d, 12, 0, 0, 0, t.Location()).Unix())
	transit := noon
	for range 3 {
		transit = nearestTransit(transit, noon, longitude)
	}
	riseAt, sun := crossing(transit, latitude, longitude, -1)
	if sun != Rises {
		at := unix(transit)
		return at, at, sun
	}
	setAt, sun := crossing(transit, latitude, longitude, 1)
	if sun != Rises {
		at := unix(transit)
		return at, at, sun
	}
	return unix(riseAt), unix(setAt), Rises
}

// Sunrise returns the first instant of daylight of the civil day that holds t,
// UTC; false on a polar day or night. See [SunCourse].
func Sunrise(t time.Time, latitude, longitude float64) (time.Time, bool) {
	rise, _, sun := SunCourse(t, latitude, longitude)
	return rise, sun == Rises
}

// Sunset returns the last instant of daylight of the civil day that holds t,
// UTC; false on a polar day or night. See [SunCourse].
func Sunset(t time.Time, latitude, longitude float64) (time.Time, bool) {
	_, set, sun := SunCourse(t, latitude, longitude)
	return set, sun == Rises
}

// SunElevation returns the altitude of the sun's centre above the horizon at an
// instant, degrees, -90 to 90, refraction left out.
func SunElevation(t time.Time, latitude, longitude float64) float64 {
	declination, equation := sunPosition(float64(t.Unix()))
	h := hourAngle(float64(t.Unix()), equation, longitude)
	s := math.Sin(latitude*radians)*math.Sin(declination) +
		math.Cos(latitude*radians)*math.Cos(declination)*math.Cos(h)
	return math.Asin(math.Min(math.Max(s, -1), 1)) / radians
}

func unix(s float64) time.Time { return time.Unix(int64(math.Round(s)), 0).UTC() }

// hourAngle is the sun's, rad, -pi to pi, 0 at its transit.
func hourAngle(unixS, equation, longitude float64) float64 {
	utc := math.Mod(unixS, 86400) / 86400 * 2 * math.Pi
	return math.Remainder(utc-math.Pi+equation+longitude*radians, 2*math.Pi)
}

// nearestTransit is the transit nearest to noon with the equation of time of at.
func nearestTransit(at, noon, longitude float64) float64 {
	_, equation := sunPosition(at)
	return noon - hourAngle(noon, equation, longitude)/(2*math.Pi)*86400
}

// crossing finds when the sun crosses the apparent horizon before (-1) or after
// (1) a transit. The declination moves by up to 0.4 degrees a day: it is taken
// at the crossing itself.
func crossing(transit, latitude, longitude, side float64) (float64, Sun) {
	at := transit
	for range 5 {
		declination, equation := sunPosition(at)
		cosH := (math.Sin(apparentHorizon*radians) - math.Sin(latitude*radians)*math.Sin(declination)) /
			(math.Cos(latitude*radians) * math.Cos(declination))
		switch {
		case cosH <= -1:
			return transit, PolarDay
		case cosH >= 1:
			return transit, PolarNight
		}
		h := math.Acos(cosH) * side
		off := math.Remainder(h-hourAngle(transit, equation, longitude), 2*math.Pi)
		at = transit + off/(2*math.Pi)*86400
	}
	return at, Rises
}

// sunPosition returns declination and equation of time, both rad. Source: Meeus
// (1998) ch. 25 (low accuracy) and ch. 28; UTC is taken for dynamical time, one
// minute off in 1970 to 2050, which moves the sun by 0.0007 degrees.
func sunPosition(unixS float64) (declination, equation float64) {
	century := (unixS/86400 + 2440587.5 - 2451545) / 36525
	meanLongitude := 280.46646 + century*(36000.76983+century*0.0003032)
	anomaly := (357.52911 + century*(35999.05029-century*0.0001537)) * radians
	eccentricity := 0.016708634 - century*(0.000042037+century*0.0000001267)
	center := (1.914602-century*(0.004817+century*0.000014))*math.Sin(anomaly) +
		(0.019993-century*0.000101)*math.Sin(2*anomaly) + 0.000289*math.Sin(3*anomaly)
	node := (125.04 - 1934.136*century) * radians
	apparent := (meanLongitude + center - 0.00569 - 0.00478*math.Sin(node)) * radians
	obliquity := (23.439291 - century*0.013004 + 0.00256*math.Cos(node)) * radians

	declination = math.Asin(math.Sin(obliquity) * math.Sin(apparent))
	l0 := meanLongitude * radians
	y := math.Pow(math.Tan(obliquity/2), 2)
	equation = y*math.Sin(2*l0) - 2*eccentricity*math.Sin(anomaly) +
		4*eccentricity*y*math.Sin(anomaly)*math.Cos(2*l0) -
		y*y/2*math.Sin(4*l0) - 1.25*eccentricity*eccentricity*math.Sin(2*anomaly)
	return declination, equation
}
