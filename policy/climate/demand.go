package climate

import "math"

// Inputs are what is known of the climate at one instant. A value counts only
// where its flag is set.
type Inputs struct {
	Radiation       float64 // global, outside or above the crop, W/m2
	PPFD            float64 // above the crop, umol/m2/s
	DeficitKPa      float64 // of the air
	TemperatureCel  float64 // of the air
	HumidityPercent float64 // relative, of the air

	HasRadiation, HasPPFD                   bool
	HasDeficit, HasTemperature, HasHumidity bool
}

// The prior of the demand. Only its shape matters: the learned uptake scales
// it, by day and by night, and with it leaf area, cover and area per container.
const (
	// radiationShare is A (1 - exp(-k LAI)) of the Baille form for a closed canopy
	// of LAI 3 with A 0.5 and k 0.64 (common practice, no source).
	radiationShare = 0.43
	// deficitWatts is B LAI of the same form, W/m2/kPa: between the night's 20 that
	// the 0.12 to 0.20 L/m2 a night of Medrano et al. (2005) at 0.5 kPa ask for and
	// the larger ones of the day.
	deficitWatts = 30.0
	// deficitOnlyWatts is what stands for both terms where the light is not known,
	// W/m2/kPa: those of a day with 230 W/m2 and 1 kPa in its mean (common
	// practice, no source).
	deficitOnlyWatts = 130.0
	// darkDeficit and deficitPerWatt guess the deficit from the light where it is
	// not known, kPa and kPa per W/m2 (common practice, no source).
	darkDeficit    = 0.4
	deficitPerWatt = 0.0016
	// largestDeficit is the deficit above which demand rises no more, kPa (common
	// practice, no source): stomata close as the air dries. In tomato the flow rises
	// by half only as the deficit goes from 0.5 to 1.5 kPa (Stanghellini 1987).
	largestDeficit = 3.0

	// NightRate is the lowest rate, mm/h: 0.12 L/m2 in a night of 12 h, the lower
	// end that Medrano et al. (2005) give for cucumber in a greenhouse.
	NightRate = 0.01
)

// Deficit returns the vapour pressure deficit, kPa, as it was reported or from
// temperature and humidity; false where neither is there.
func (in *Inputs) Deficit() (float64, bool) {
	switch {
	case in.HasDeficit:
		return math.Max(in.DeficitKPa, 0), true
	case in.HasTemperature && in.HasHumidity:
		return Air{in.TemperatureCel, in.HumidityPercent}.Deficit(), true
	}
	return 0, false
}

// Light returns the light as W/m2 of global radiation. PPFD above the crop is
// preferred: it has cover, screens and lamps in it, which radiation measured
// outside has not.
func (in *Inputs) Light() (float64, bool) {
	switch {
	case in.HasPPFD:
		return GlobalFromPPFD(math.Max(in.PPFD, 0)), true
	case in.HasRadiation:
		return math.Max(in.Radiation, 0), true
	}
	return 0, false
}

// Known reports whether there is anything to take a demand from. Temperature
// or humidity alone is not enough.
func (in *Inputs) Known() bool {
	_, light := in.Light()
	_, deficit := in.Deficit()
	return light || deficit
}

// Rate returns the demand of the climate, mm/h over the ground of a closed
// canopy, at least [NightRate]. It is the form of Baille, Baille & Laury (1994)
//
//	E = (0.43 G + 30 D) 3600 / 2.45e6,   G W/m2, D kPa, at most 3
//
// with round numbers in place of a species': a prior whose shape the learned
// uptake is scaled from, never a dose. With light alone the deficit is taken as
// 0.4 + 0.0016 G; with the deficit alone E is that of 130 W/m2 per kPa, which
// follows the air and misses clouds and lamps; with neither it is NightRate, and
// [Inputs.Known] says so.
func Rate(in Inputs) float64 {
	light, hasLight := in.Light()
	deficit, hasDeficit := in.Deficit()
	deficit = math.Min(deficit, largestDeficit)
	latent := 0.0
	switch {
	case hasLight && hasDeficit:
		latent = radiationShare*light + deficitWatts*deficit
	case hasLight:
		latent = radiationShare*light + deficitWatts*math.Min(darkDeficit+deficitPerWatt*light, largestDeficit)
	case hasDeficit:
		latent = deficitOnlyWatts * deficit
	}
	return math.Max(MillimetersPerHour(latent), NightRate)
}
