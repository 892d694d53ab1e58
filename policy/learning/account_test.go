package learning

import (
	"math"
	"testing"
)

// overfilled plays a pot that drains daily, its probe showing eight tenths;
// volumes and drain are told as asked. It returns the pot and the zone.
func overfilled(days float64, volumes bool, gauge float64, each func(p *pot, z *Zone)) {
	p, g := newPot(31), &grower{trigger: 0.585, ml: 250}
	p.sees = 0.8
	c := potConstants(p)
	var z Zone
	told := 0.0
	for range int(days * 24) {
		play(p, g, &z, c, 1./24, 5*minuteMs, volumes, true, nil)
		z.Drain(c, p.at, gauge*(p.spilt-told))
		told = p.spilt
		if mod(p.at, dayMs) == 0 {
			each(p, &z)
		}
	}
}

// Where drain is told, the uptake of a day is what was given less what drained,
// from the second day on, long before the probe's share is known.
func TestDrainToldTellsTheUptake(t *testing.T) {
	drunk, sum, wanted, days := 0.0, 0.0, 0.0, 0
	overfilled(8, true, 1, func(p *pot, z *Zone) {
		if days++; days > 1 {
			s, want := z.Sums24h(), p.drunk-drunk
			if math.Abs(s.UptakeML-want) > 0.15*want || !s.DrainReported {
				t.Errorf("day %d: uptake %.0f mL of %.0f, drain believed %v", days, s.UptakeML, want, s.DrainReported)
			}
			sum, wanted = sum+s.UptakeML, wanted+want
		}
		drunk = p.drunk
	})
	if math.Abs(sum/wanted-1) > 0.05 {
		t.Errorf("uptake of a week %.0f mL, really %.0f", sum, wanted)
	}
}

// A gauge that caught nothing is not believed, and the uptake stays the balance's.
func TestABlockedTrayTellsNoUptake(t *testing.T) {
	days := 0
	overfilled(6, true, 0.001, func(p *pot, z *Zone) {
		if days++; days > 2 {
			if s, b := z.Sums24h(), z.booked24h(); s.DrainReported || s.UptakeML != b.UptakeML {
				t.Errorf("day %d: %.0f mL caught of %.0f are believed %v, uptake %.0f mL where %.0f was booked", days, s.ReportedDrainML, b.DrainML, s.DrainReported, s.UptakeML, b.UptakeML)
			}
		}
	})
}

// Where only drain is told, what was given is what was drunk, drained and stored:
// off by no more than the unknown share of the probe makes of what was drunk.
func TestDrainToldTellsWhatWasGiven(t *testing.T) {
	given, days := 0.0, 0
	overfilled(8, false, 1, func(p *pot, z *Zone) {
		if days++; days > 3 {
			s := z.Sums24h()
			if want := p.given - given; math.Abs(s.IrrigationML-want) > 0.25*want || s.IrrigationML < z.booked24h().IrrigationML {
				t.Errorf("day %d: %.0f mL given, really %.0f, %.0f seen", days, s.IrrigationML, want, z.booked24h().IrrigationML)
			}
		}
		given = p.given
	})
}

// A probe that shows half of the drinking makes drain of the other half. A gauge that
// agreed on wetter days is believed, and the uptake is the true one.
func TestAGaugeThatWorkedIsBelieved(t *testing.T) {
	p, wet := newPot(33), &grower{trigger: 0.595, ml: 250}
	c := potConstants(p)
	var z Zone
	told := 0.0
	days := func(n int, g *grower) (Sums, float64) {
		drunk := 0.0
		for range n * 24 {
			if mod(p.at, dayMs) == 0 {
				drunk = p.drunk
			}
			play(p, g, &z, c, 1./24, 5*minuteMs, true, true, nil)
			z.Drain(c, p.at, p.spilt-told)
			told = p.spilt
		}
		return z.Sums24h(), p.drunk - drunk
	}
	days(4, wet)
	if z.Account.WorksMs == 0 {
		t.Fatal("four days of drain that agree, and the gauge is not known to work")
	}
	p.sees = 0.5
	s, drunk := days(4, &grower{trigger: 0.56, ml: 250})
	if !s.DrainReported || math.Abs(s.UptakeML/drunk-1) > 0.2 {
		t.Errorf("uptake %.0f mL, really %.0f; drain of %.0f mL believed %v", s.UptakeML, drunk, s.ReportedDrainML, s.DrainReported)
	}
}

// What is only seen in the water content is water of the account, and not of what was
// reported.
func TestWhatIsSeenIsNotReported(t *testing.T) {
	for _, told := range []bool{true, false} {
		p := newPot(31)
		c := potConstants(p)
		var z Zone
		play(p, &grower{}, &z, c, 1, 5*minuteMs, true, false, nil)
		z.Water(c, p.at-6*hourMs, 1, true) // this zone reports
		given, booked := z.Account.GivenML, z.Account.Totals.IrrigationML+z.Open.GivenML
		if told {
			z.Water(c, p.at, 300, true)
		}
		p.shot(300)
		for range 150 {
			p.run(p.at + 2*minuteMs)
			z.Observe(c, p.at, p.reading(), p.noise)
		}
		given = z.Account.GivenML - given
		booked = z.Account.Totals.IrrigationML + z.Open.GivenML - booked
		if want := map[bool]float64{true: 300}[told]; given != want || booked < 150 {
			t.Errorf("reported %v: %.0f mL reported and %.0f booked, expected %.0f and some 300", told, given, booked, want)
		}
	}
}
