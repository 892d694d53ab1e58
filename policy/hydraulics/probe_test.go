package hydraulics

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func anyProbe(t *rapid.T, p *Profile) (table *ProbeTable, height, length float64) {
	length = rapid.Float64Range(0, p.height).Draw(t, "length")
	if rapid.Bool().Draw(t, "point") {
		length = 0
	}
	height = length/2 + (p.height-length)*rapid.Float64Range(0, 1).Draw(t, "height")
	table, err := p.Probe(height, length)
	if err != nil {
		t.Fatal(err)
	}
	return table, height, length
}

func TestProbeInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		probe, _, _ := anyProbe(t, p)
		driest, wettest := probe.Range()
		mean := rapid.Float64Range(driest, wettest).Draw(t, "mean")
		reading := probe.Reading(mean)
		// Where the probe hardly answers, its digits cannot tell the mean.
		if sensitivity := probe.Sensitivity(mean); sensitivity > 1e-6 {
			if back := probe.Mean(reading); math.Abs(back-mean) > 1e-6 && math.Abs(probe.Reading(back)-reading) > 1e-12 {
				t.Fatalf("mean %.9f reads %.9f, which is mean %.9f", mean, reading, back)
			}
		}
		if back := probe.Reading(probe.Mean(reading)); math.Abs(back-reading) > 1e-8 {
			t.Fatalf("reading %.12f comes back %.12f", reading, back)
		}
	})
}

func TestProbeRises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		probe, _, _ := anyProbe(t, p)
		a := rapid.Float64Range(-0.2, 1.2).Draw(t, "a")
		b := rapid.Float64Range(-0.2, 1.2).Draw(t, "b")
		a, b = math.Min(a, b), math.Max(a, b)
		if ma, mb := probe.Mean(a), probe.Mean(b); !(ma <= mb+1e-12) || ma < 0 || mb > p.MaxMean() {
			t.Fatalf("readings %g, %g give means %g, %g", a, b, ma, mb)
		}
		if ra, rb := probe.Reading(a), probe.Reading(b); !(ra <= rb+1e-12) || ra < 0 || rb > p.substrate.Retention.ThetaS {
			t.Fatalf("means %g, %g give readings %g, %g", a, b, ra, rb)
		}
		if s := probe.Sensitivity(a); !(s >= 0) || math.IsInf(s, 0) {
			t.Fatalf("sensitivity %g at mean %g", s, a)
		}
	})
}

// TestProbeTableAgainstIntegral: a reading worked out at any bottom suction gives
// the mean worked out there, to what a 16-bit word tells of a water content.
func TestProbeTableAgainstIntegral(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		probe, z, l := anyProbe(t, p)
		from := -(z + l/2)
		s0 := from + math.Exp(rapid.Float64Range(-5, 9).Draw(t, "ln above"))
		reading, slope := p.readingAtBottom(s0, z-l/2, z+l/2)
		mean, meanSlope := p.meanAtBottom(s0)
		if d := math.Abs(probe.Reading(mean) - reading); d > 1.5e-5 && d > 1.5e-5*slope/meanSlope {
			t.Fatalf("the mean %.8f reads %.8f, table %.8f", mean, reading, probe.Reading(mean))
		}
	})
}

func TestProbeBeyondItsEnds(t *testing.T) {
	p := coirPot(t)
	probe, err := p.Probe(7, 0)
	if err != nil {
		t.Fatal(err)
	}
	driest, wettest := probe.Range()
	// Water stands 7 cm high when a point at 7 cm is just full.
	if want, _ := p.meanAtBottom(-7); math.Abs(wettest-want) > 1e-12 {
		t.Errorf("wettest mean %g, want %g", wettest, want)
	}
	if got := probe.Mean(0.99); got != wettest {
		t.Errorf("a reading above theta_s gives %g, want the wettest mean %g", got, wettest)
	}
	if got := probe.Reading(p.MaxMean()); got != 0.9 {
		t.Errorf("a full container reads %g, want theta_s", got)
	}
	low := probe.Reading(driest)
	if got := probe.Mean(low - 0.01); math.Abs(got-(driest-0.01)) > 1e-12 {
		t.Errorf("0.01 below the driest gives %g, want %g", got, driest-0.01)
	}
	if got := probe.Mean(-1); got != 0 {
		t.Errorf("a reading of -1 gives %g, want 0", got)
	}
}

func TestProbeRefusals(t *testing.T) {
	p := coirPot(t)
	nan := math.NaN()
	for _, c := range []struct {
		height, length float64
		field          string
	}{
		{-1, 0, "height_cm"}, {21, 0, "height_cm"}, {nan, 0, "height_cm"},
		{7, -1, "length_cm"}, {7, nan, "length_cm"}, {2, 5, "length_cm"}, {19, 5, "length_cm"}, {10, 21, "length_cm"},
	} {
		_, err := p.Probe(c.height, c.length)
		if got := FieldErrors(err); len(got) != 1 || got[0].Field != c.field {
			t.Errorf("probe at %g over %g: %v, want one fault of %s", c.height, c.length, got, c.field)
		}
	}
	if _, err := p.Probe(2.5, 5); err != nil {
		t.Errorf("a probe that just reaches the bottom: %v", err)
	}
}

func BenchmarkProbeMean(b *testing.B) {
	probe, err := coirPot(b).Probe(7, 5)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		probe.Mean(0.3 + 0.001*float64(i&511))
	}
}

func BenchmarkProbeReading(b *testing.B) {
	probe, err := coirPot(b).Probe(7, 5)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		probe.Reading(0.3 + 0.001*float64(i&511))
	}
}

func BenchmarkProfile(b *testing.B) {
	p := coirPot(b)
	aerated := p.Aerate(DefaultAeration)
	mean := func(i int) float64 { return 0.3 + 0.001*float64(i&511) }
	for _, c := range []struct {
		name string
		f    func(i int)
	}{
		{"WaterContentAt", func(i int) { p.WaterContentAt(mean(i), 7) }},
		{"BottomSuctionKPa", func(i int) { p.BottomSuctionKPa(mean(i)) }},
		{"SaturatedShare", func(i int) { p.SaturatedShare(mean(i), 0.1) }},
		{"AerationMargin", func(i int) { p.AerationMargin(mean(i), 24, DefaultAeration) }},
		{"AeratedShare", func(i int) { aerated.SaturatedShare(mean(i)) }},
		{"AeratedMargin", func(i int) { aerated.Margin(mean(i), 24) }},
		{"AvailableML", func(i int) { p.AvailableML(mean(i), 5) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				c.f(i)
			}
		})
	}
}

func BenchmarkNewProfile(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := NewProfile(coirMix, pot7L); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRetention(b *testing.B) {
	r := coirMix.Retention
	b.Run("WaterContent", func(b *testing.B) {
		b.ReportAllocs()
		for i := 0; b.Loop(); i++ {
			r.WaterContent(0.01 * float64(i&1023))
		}
	})
	b.Run("Suction", func(b *testing.B) {
		b.ReportAllocs()
		for i := 0; b.Loop(); i++ {
			r.Suction(0.1 + 0.0005*float64(i&1023))
		}
	})
}
