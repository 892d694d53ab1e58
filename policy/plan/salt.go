package plan

import (
	"math"

	"rhizostat/policy/hydraulics"
)

// Salt is what is known of the zone's salt; electrical conductivities in mS/cm
// at 25 Cel.
type Salt struct {
	PoreEC      float64
	PoreKnown   bool
	FeedEC      float64
	FeedKnown   bool
	WantedEC    float64 // in the pore water
	WantedKnown bool
}

// The numbers of leaching.
const (
	// leachDays is how many days a return to the wanted EC may take (common
	// practice, no source: quick changes of EC hurt roots).
	leachDays = 3
	// mostDrain is the largest drain fraction that leaching asks for (common
	// practice, no source: 0.2 to 0.4 for open systems).
	mostDrain = 0.4
	// highEC and lowEC, as shares of the wanted EC, are where drain is raised
	// and lowered (common practice, no source).
	highEC, lowEC = 1.15, 0.85
	// unsteeredHigh is where salt builds up when nobody told a wanted EC, as a
	// multiple of the feed: 2.66 is the mean soil-water EC over the feed's that
	// a leaching fraction of 0.2 leads to (Ayers & Westcot 1985, FAO-29, uptake
	// 40-30-20-10).
	// severeEC, as a multiple of the wanted EC, is where salt harms recovering roots more
	// than the water that flushes it, and recoveryDrain by how much drain is raised then
	// at most (common practice, no source).
	severeEC      = 2
	recoveryDrain = 0.1
	unsteeredHigh = 2.66
	unsteeredAim  = 2.0
)

// leaching is what the salt asks of a day.
type leaching struct {
	leach  bool
	wanted float64 // drain fraction
	aimEC  float64 // pore EC aimed at, 0: none
	why    string  // code of the reason, "" none
}

// balance is the salt balance of the zone; what the crop takes is not known and
// taken as usual.
func (s *Salt) balance() hydraulics.SaltBalance {
	return hydraulics.SaltBalance{FeedEC: s.FeedEC, UptakeEC: hydraulics.UsualUptakeShare * s.FeedEC}
}

// fractionFor is the least drain fraction, in hundredths above base and at most
// mostDrain, that brings the pore water from its EC to aim in leachDays, in a
// container that holds water mL and whose crop drinks uptake mL a day; mostDrain
// where none does.
func (s *Salt) fractionFor(aim, water, uptake, base float64) float64 {
	for f := base + 0.01; f < mostDrain; f += 0.01 {
		volume, ok := s.balance().VolumeToReach(s.PoreEC, aim, water, f)
		if ok && volume <= leachDays*uptake/(1-f) {
			return f
		}
	}
	return math.Max(base, mostDrain)
}

// poreECAfter is the pore EC after a day in which given mL entered a container
// that holds water mL, and drain mL of them drained, in shots small against the
// water held:
//
//	W dEC/dI = EC_f - (1 - f) EC_u - f EC,  f = D/I
//	EC = EC_0 exp(-x) + (EC_f - (1 - f) EC_u) I/W (1 - exp(-x))/x,  x = D/W
//
// It is the balance of hydraulics.SaltBalance, whose steady state it goes to.
func (s *Salt) poreECAfter(water, given, drain float64) float64 {
	if !(given > 0 && water > 0) {
		return s.PoreEC
	}
	b := s.balance()
	x, mixed := drain/water, 1.0
	if x > 1e-9 {
		mixed = -math.Expm1(-x) / x
	}
	gain := (b.FeedEC - (1-drain/given)*b.UptakeEC) * given / water
	return s.PoreEC*math.Exp(-x) + gain*mixed
}

// leachingFor judges the salt. Water is what the container holds and uptake what
// the day is expected to take, mL.
func leachingFor(r *Request, water, uptake float64) leaching {
	s, base := &r.Salt, r.Band.DrainFraction
	plain := leaching{wanted: base}
	if !s.PoreKnown || !s.FeedKnown || !(s.FeedEC > 0) || !(s.PoreEC > 0) {
		return plain
	}
	aim, why := s.WantedEC, "pore-ec-high"
	if !s.WantedKnown || !(aim > 0) {
		if s.PoreEC < unsteeredHigh*s.FeedEC {
			return plain
		}
		aim, why = unsteeredAim*s.FeedEC, "salt-above-feed"
	}
	switch {
	case s.PoreEC > highEC*aim && r.Situation.WaterContent < r.Band.RefillPoint:
		return leaching{wanted: base, aimEC: aim} // salt is denser in little water, which is to be filled up first
	case s.PoreEC > highEC*aim:
		if r.Recovering {
			if s.PoreEC < severeEC*aim || s.PoreEC < unsteeredHigh*s.FeedEC {
				return leaching{wanted: base, aimEC: aim, why: "no-leach-in-recovery"}
			}
			return leaching{leach: true, wanted: math.Min(base+recoveryDrain, mostDrain), aimEC: aim, why: "leach-in-recovery"}
		}
		if s.FeedEC >= aim {
			aim, why = 1.05*s.FeedEC, "pore-ec-feed-bound" // the feed's own EC is never quite reached
			if s.PoreEC <= highEC*aim {
				return leaching{wanted: base, aimEC: aim, why: why}
			}
		}
		raised := s.fractionFor(aim, water, uptake, base)
		if raised < base+0.03 { // what is drained already does it
			return leaching{wanted: base, aimEC: aim}
		}
		return leaching{leach: true, wanted: raised, aimEC: aim, why: why}
	case s.WantedKnown && s.PoreEC < lowEC*aim:
		if steady, ok := s.balance().DrainFractionFor(aim); ok && steady < base-0.02 {
			return leaching{wanted: steady, aimEC: aim, why: "pore-ec-low"}
		}
	}
	return leaching{wanted: base, aimEC: aim}
}
