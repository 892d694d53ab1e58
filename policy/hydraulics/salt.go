package hydraulics

import "math"

// Salt in a container, with electrical conductivity standing in for it, linear.
// All EC are mS/cm at 25 Cel. The container is taken as well mixed: where water
// runs past the roots (dry coir, fast shots) the drain is nearer to the feed than
// the pores are, and the numbers below are too hopeful.

// DrainFraction returns the share of the water that entered a container that
// drained from it; 0 where nothing entered.
//
//	f = D / I,  I = retained + drained
//
// Under sprinklers the catch of an empty pot is not I: leaves and gaps are in it.
// Source: Million & Yeager, EDIS EP529.
func DrainFraction(retainedML, drainedML float64) float64 {
	if !(retainedML+drainedML > 0) {
		return 0
	}
	return drainedML / (retainedML + drainedML)
}

// SaltBalance is what salt a container gets and gives.
type SaltBalance struct {
	FeedEC   float64
	UptakeEC float64 // nutrients taken up per water taken up; 0 for a salt that no plant takes
}

// UsualUptakeShare is the uptake EC as a share of the feed EC where nothing was
// learned of it: a crop that is fed to its needs takes nutrients and water at
// about the feed's ratio, a little less in strong light (common practice, no
// source).
const UsualUptakeShare = 0.8

// SteadyPoreEC returns the pore EC that a drain fraction (above 0, up to 1) leads
// to in the long run.
//
//	EC = (ECf - (1 - f) ECu) / f
//
// It is the mass balance ECf = (1 - f) ECu + f EC. At f 0 there is no steady
// state; where the crop takes more than the feed brings the pores run empty
// first: both are not ok.
func (b SaltBalance) SteadyPoreEC(drainFraction float64) (float64, bool) {
	if !(drainFraction > 0 && drainFraction <= 1) {
		return 0, false
	}
	ec := (b.FeedEC - (1-drainFraction)*b.UptakeEC) / drainFraction
	return ec, ec >= 0
}

// DrainFractionFor returns the drain fraction at which the pore EC settles at a
// wanted one.
//
//	f = (ECf - ECu) / (EC - ECu)
//
// Where the feed holds no more than the crop takes, the pores do not gain salt:
// 0, no leaching is needed. A pore EC at or below the feed's cannot be reached
// with any drain as long as the feed holds more than the crop takes: not ok, and
// the feed is what must change.
func (b SaltBalance) DrainFractionFor(poreEC float64) (float64, bool) {
	surplus := b.FeedEC - b.UptakeEC
	if surplus <= 0 {
		return 0, true
	}
	f := surplus / (poreEC - b.UptakeEC)
	if !(f > 0 && f <= 1) {
		return 0, false
	}
	return f, true
}

// UptakeECFrom returns the uptake EC that a steady pore EC at a drain fraction
// from 0 to below 1 shows, at least 0.
func UptakeECFrom(feedEC, poreEC, drainFraction float64) float64 {
	return math.Max((feedEC-drainFraction*poreEC)/(1-drainFraction), 0)
}

// Watering is one shot into a container that the crop has drunk from since the
// last.
type Watering struct {
	WaterML       float64 // in the container as it is full
	ShotML        float64 // that enters, less than WaterML
	DrainFraction float64 // of the shot
}

// PoreECAfter returns the pore EC after the crop has taken the water that does
// not drain and the shot has replaced it, mixed, and drained, in that order.
func (b SaltBalance) PoreECAfter(w Watering, poreEC float64) float64 {
	uptake := (1 - w.DrainFraction) * w.ShotML
	salt := w.WaterML*poreEC - uptake*b.UptakeEC + w.ShotML*b.FeedEC
	return salt / (w.WaterML - uptake + w.ShotML)
}

// VolumeToReach returns how much water, mL, must enter at a drain fraction until
// the pore EC has gone from one value to another, in shots small against the
// water held:
//
//	V = (W / f) ln((EC0 - ECs) / (EC1 - ECs))
//
// with ECs the steady pore EC. Not ok where that drain fraction never leads there.
func (b SaltBalance) VolumeToReach(from, to, waterML, drainFraction float64) (float64, bool) {
	steady, ok := b.SteadyPoreEC(drainFraction)
	if !ok || !(waterML > 0) {
		return 0, false
	}
	ratio := (from - steady) / (to - steady)
	if !(ratio >= 1) || math.IsInf(ratio, 0) {
		return 0, false
	}
	return waterML / drainFraction * math.Log(ratio), true
}

// The relations below are of Ayers & Westcot (1985), FAO Irrigation and Drainage
// Paper 29, for field soils under surface irrigation and the EC of the saturation
// extract. They are here to compare with; a soilless container follows the salt
// balance above.

// LeachingRequirement returns the share of the applied water that must pass the
// root zone of a field.
//
//	LR = ECw / (5 ECe - ECw)
//
// Source: FAO-29 Eq. 9, after Rhoades (1974). Not ok where it is not between 0
// and 1, that is 5 ECe at or below 2 ECw: it has no meaning there.
func LeachingRequirement(waterEC, extractEC float64) (float64, bool) {
	d := 5*extractEC - waterEC
	if !(waterEC >= 0) || !(d > 0) || waterEC >= d {
		return 0, false
	}
	return waterEC / d, true
}

// AppliedWater returns the water to apply for an evapotranspiration, in its unit,
// at a leaching requirement below 1. Source: FAO-29 Eq. 7.
func AppliedWater(evapotranspiration, leachingRequirement float64) float64 {
	return evapotranspiration / (1 - leachingRequirement)
}

// SoilWaterConcentration returns the mean EC of a field's soil water over that
// of the water applied, at a leaching fraction above 0, with 40, 30, 20 and 10 %
// of the uptake from the four quarters of the root zone. Half of it is the factor
// of FAO-29 Table 3, to its one decimal.
func SoilWaterConcentration(leachingFraction float64) float64 {
	taken := [5]float64{0, 0.4, 0.7, 0.9, 1}
	sum := 0.0
	for _, t := range taken {
		sum += 1 / (1 - t*(1-leachingFraction))
	}
	return sum / float64(len(taken))
}
