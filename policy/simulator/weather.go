package simulator

import (
	"math"
	"time"
)

// Weather is the climate of a place and of the house that stands in it.
type Weather struct {
	Latitude, Longitude float64 // degrees north, east
	// MeanCel is the outside temperature over the year, SeasonCel half its
	// swing, DayCel half the swing of a clear day.
	MeanCel, SeasonCel, DayCel float64
	// Cloud is the mean share of light lost to clouds on a middling day, 0 to
	// 0.8; Changeable how much days differ, 0 to 1.
	Cloud, Changeable float64
	// Cover is the share of light the house lets through; 1 outdoors.
	Cover float64
	// HeatCel is the temperature held by heating; below -50 there is none.
	HeatCel float64
	// GreenhouseCel is how much 1000 W/m2 outside warm a house with its vents
	// as they are.
	GreenhouseCel float64
	// Humid is the part of the outside dew point and the crop's vapour that
	// stays in: the relative humidity aimed at by night, 0.5 to 0.95.
	Humid float64
	// Lamps give LampsW W/m2 (global) in the house from LampsFrom to LampsTo,
	// h UTC; Dark shuts the sun out (an indoor room).
	LampsW, LampsFrom, LampsTo float64
	Dark                       bool
}

// Air is what plants and probes feel at one time.
type Air struct {
	Outside float64 // global radiation outside, W/m2
	Inside  float64 // global radiation above the crop, W/m2
	Cel     float64 // in the house
	RH      float64 // %, in the house
	Deficit float64 // vapour pressure deficit, kPa
}

// sky is the weather going on: the wanders that make its days.
type sky struct {
	Weather
	chance    random
	day       float64 // of cloudiness, standard normal, over 1.5 d
	hour      float64 // over 40 min
	front     float64 // of temperature, over 3 d
	damp      float64 // of humidity, over 8 h
	now, next Air     // at the two ends of a node
	node      int64   // s since 1970 of now
}

// nodeS is the spacing of the weather's nodes, s; it is straight between them.
const nodeS = 300

func newSky(w Weather, seed uint64, start int64) sky {
	s := sky{Weather: w, chance: stream(seed, 1)}
	s.day, s.hour, s.front, s.damp = s.chance.normal(), s.chance.normal(), s.chance.normal(), s.chance.normal()
	s.node = start - start%nodeS
	s.now = s.draw(s.node, 0)
	s.next = s.draw(s.node+nodeS, 0)
	return s
}

// at gives the air at a time that never goes back; spell is a hot dry spell, 0
// to 1.
func (s *sky) at(t int64, spell float64) Air {
	for t >= s.node+nodeS {
		s.node += nodeS
		s.now, s.next = s.next, s.draw(s.node+nodeS, spell)
	}
	f := float64(t-s.node) / nodeS
	mix := func(a, b float64) float64 { return a + f*(b-a) }
	return Air{mix(s.now.Outside, s.next.Outside), mix(s.now.Inside, s.next.Inside), mix(s.now.Cel, s.next.Cel),
		mix(s.now.RH, s.next.RH), mix(s.now.Deficit, s.next.Deficit)}
}

// draw makes the next node.
func (s *sky) draw(t int64, spell float64) Air {
	s.day = s.chance.wander(s.day, nodeS, 1.5*86400)
	s.hour = s.chance.wander(s.hour, nodeS, 2400)
	s.front = s.chance.wander(s.front, nodeS, 3*86400)
	s.damp = s.chance.wander(s.damp, nodeS, 8*3600)

	clear, hourOfSun := clearSky(t, s.Latitude, s.Longitude)
	// cloudiness: a day's share, broken up over minutes
	lost := s.Cloud*(1-0.8*spell) + 0.3*s.Changeable*s.day*(1-spell) + 0.12*s.Changeable*s.hour
	lost = math.Min(math.Max(lost, 0), 0.85)
	global := clear * (1 - lost)

	season := -math.Cos(2 * math.Pi * (float64(yearDay(t)) - 20) / 365)
	if s.Latitude < 0 {
		season = -season
	}
	outside := s.MeanCel + s.SeasonCel*season + 3*s.front + 7*spell +
		s.DayCel*(1-0.7*lost)*math.Cos(2*math.Pi*(hourOfSun-14.5)/24)

	lamps := s.lamps(t)
	light := global * s.Cover
	if s.Dark {
		light = 0
	}
	inside := light + lamps
	cel := outside + s.GreenhouseCel*light/s.Cover/1000
	if s.Dark {
		cel = s.HeatCel + 0.01*lamps + 0.4*s.front
	} else if s.HeatCel > -50 {
		cel = math.Max(cel, s.HeatCel)
	}
	// vapour: what held the night's humidity at the coolest hour, less what a
	// warm bright hour lets out
	rh := s.Humid*100 - 3.2*(cel-math.Max(outside-s.DayCel, s.HeatCel))*0.55 - 0.018*light + 4*s.damp - 18*spell
	rh = math.Min(math.Max(rh, 15), 98)
	return Air{global, inside, cel, rh, saturationPressure(cel) * (1 - rh/100)}
}

// lamps gives the light of the lamps at a time, W/m2.
func (s *sky) lamps(t int64) float64 {
	if s.LampsW <= 0 {
		return 0
	}
	h := float64(t%86400) / 3600
	on := h >= s.LampsFrom && h < s.LampsTo
	if s.LampsFrom > s.LampsTo {
		on = h >= s.LampsFrom || h < s.LampsTo
	}
	if on {
		return s.LampsW
	}
	return 0
}

func yearDay(t int64) int { return time.Unix(t, 0).UTC().YearDay() }

// saturationPressure is the vapour pressure over water, kPa, at -40 to 60 Cel
// (Magnus form, FAO-56 eq. 11).
func saturationPressure(cel float64) float64 {
	return 0.6108 * math.Exp(17.27*cel/(cel+237.3))
}

// clearSky gives the global radiation under a clear sky, W/m2, and the solar
// time, h: Haurwitz (1945), 1098 cos z exp(-0.057/cos z), with the declination
// of FAO-56 eq. 24; the equation of time is left out (16 min at most).
func clearSky(t int64, latitude, longitude float64) (w, solarHour float64) {
	j := float64(yearDay(t))
	decl := 0.409 * math.Sin(2*math.Pi*j/365-1.39)
	solarHour = math.Mod(float64(t%86400)/3600+longitude/15+24, 24)
	phi := latitude * math.Pi / 180
	cosz := math.Sin(phi)*math.Sin(decl) + math.Cos(phi)*math.Cos(decl)*math.Cos(math.Pi/12*(solarHour-12))
	if cosz <= 0.005 {
		return 0, solarHour
	}
	return 1098 * cosz * math.Exp(-0.057/cosz), solarHour
}
