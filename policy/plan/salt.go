package plan

import "math"

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
	// uptakeShare is the nutrient a fed crop takes with its water, as a share of
	// the feed's EC (reference: an uptake concentration of the order of the
	// feed; the 0.8 is common practice, no source).
	uptakeShare = 0.8
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

// fractionFor is the drain fraction that brings the pore water from ec to aim in
// some days, from the salt balance of a well-mixed container that holds water mL
// and whose crop drinks uptake mL a day:
//
//	water (aim - ec)/days = I EC_f - U EC_u - D ec,  I = U/(1 - f), D = f I
//	f = (EC_f - b)/(ec - b),  b = EC_u + water (aim - ec)/(days U)
//
// With days without end it is f = (EC_f - EC_u)/(EC_d - EC_u), the steady state.
// NaN where no fraction from 0 to 1 does it.
func fractionFor(ec, aim, feed, water, uptake, days float64) float64 {
	b := uptakeShare*feed + water*(aim-ec)/(days*uptake)
	f := (feed - b) / (ec - b)
	if !(uptake > 0) || f < 0 || f >= 1 {
		return math.NaN()
	}
	return f
}

// poreECAfter is the pore EC after a day of the same balance.
func poreECAfter(s *Salt, water, given, uptake, drain float64) float64 {
	change := given*s.FeedEC - uptake*uptakeShare*s.FeedEC - drain*s.PoreEC
	after := water + given - uptake - drain
	if after <= 0 {
		return s.PoreEC
	}
	return math.Max(0, (water*s.PoreEC+change)/after)
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
	case s.PoreEC > highEC*aim:
		if r.Recovering {
			return leaching{wanted: base, aimEC: aim, why: "no-leach-in-recovery"}
		}
		if s.FeedEC >= aim {
			aim, why = s.FeedEC, "pore-ec-feed-bound"
			if s.PoreEC <= highEC*aim {
				return leaching{wanted: base, aimEC: aim, why: why}
			}
		}
		f := fractionFor(s.PoreEC, aim, s.FeedEC, water, uptake, leachDays)
		if math.IsNaN(f) {
			f = mostDrain
		}
		raised := math.Max(base, math.Min(f, mostDrain))
		if raised < base+0.03 { // what is drained already does it
			return leaching{wanted: base, aimEC: aim}
		}
		return leaching{leach: true, wanted: raised, aimEC: aim, why: why}
	case s.WantedKnown && s.PoreEC < lowEC*aim:
		f := fractionFor(s.PoreEC, aim, s.FeedEC, water, uptake, leachDays)
		if math.IsNaN(f) {
			f = 0
		}
		if lowered := math.Min(base, f); lowered < base-0.02 {
			return leaching{wanted: lowered, aimEC: aim, why: "pore-ec-low"}
		}
	}
	return leaching{wanted: base, aimEC: aim}
}
