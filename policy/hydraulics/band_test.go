package hydraulics

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func at(x float64) *float64 { return &x }

func TestBandOfTheExample(t *testing.T) {
	p := coirPot(t)
	b, err := NewBand(p, BandSpec{MinAirFilledPorosity: at(0.15), MaxSuctionKPa: at(5), OvernightDryback: 0.10, DrainFraction: 0.10})
	if err != nil {
		t.Fatal(err)
	}
	if b.FullPoint != p.ContainerCapacity() { // 0.33 air at capacity: capacity is the lower
		t.Errorf("full point %.4f, want the capacity %.4f", b.FullPoint, p.ContainerCapacity())
	}
	if b.RefillPoint != p.MeanAtSuction(5) {
		t.Errorf("refill point %.4f, want %.4f", b.RefillPoint, p.MeanAtSuction(5))
	}
	if b.OvernightDryback != 0.10 || b.DrainFraction != 0.10 {
		t.Errorf("dryback %g and drain %g did not come through", b.OvernightDryback, b.DrainFraction)
	}
	for mean, want := range map[float64]string{b.FullPoint + 0.01: "above", b.FullPoint: "in", b.RefillPoint: "in", b.RefillPoint - 0.01: "below"} {
		if got := b.Position(mean); got != want {
			t.Errorf("position of %.4f: %s, want %s", mean, got, want)
		}
	}
	// The defaults are what the example asks for.
	d, err := NewBand(p, BandSpec{})
	if err != nil || d.FullPoint != b.FullPoint || d.RefillPoint != b.RefillPoint {
		t.Errorf("defaults give %+v, %v", d, err)
	}
}

func TestBandByAir(t *testing.T) {
	s, _ := BuiltIn("peat")
	p, err := NewProfile(s, Container{HeightCM: 6, TopDiameterCM: 8, BottomDiameterCM: 6})
	if err != nil {
		t.Fatal(err)
	}
	b, err := NewBand(p, BandSpec{})
	if err != nil {
		t.Fatal(err)
	}
	if want := 0.98 - 0.15; math.Abs(b.FullPoint-want) > 1e-12 || !strings.Contains(b.FullPointSource, "required air") {
		t.Errorf("full point %.4f from %s, want %.4f from the air", b.FullPoint, b.FullPointSource, want)
	}
}

func TestBandOfPlainNumbers(t *testing.T) {
	nan := math.NaN()
	b, err := NewBand(coirPot(t), BandSpec{FullPoint: at(0.55), RefillPoint: at(0.45), MinAirFilledPorosity: &nan, MaxSuctionKPa: &nan, PoreEC: &nan})
	if err != nil {
		t.Fatal(err)
	}
	if b.FullPoint != 0.55 || b.RefillPoint != 0.45 || b.FullPointSource != "the site's own number" {
		t.Errorf("%+v", b)
	}
	if math.Abs(b.Width()-0.10) > 1e-12 {
		t.Errorf("width %g", b.Width())
	}
}

func TestBandRefusals(t *testing.T) {
	peat, _ := BuiltIn("peat")
	// Three centimetres of peat keep 0.04 air at capacity; asking for 0.59 and
	// less than 1 kPa leaves nothing between.
	short, err := NewProfile(peat, Container{Name: "plug", HeightCM: 3, TopDiameterCM: 2.5, BottomDiameterCM: 1.5})
	if err != nil {
		t.Fatal(err)
	}
	// A metre of coir: at capacity its mean suction is near 5 kPa already.
	tall, err := NewProfile(coirMix, Container{Name: "column", HeightCM: 100, TopDiameterCM: 20, BottomDiameterCM: 20})
	if err != nil {
		t.Fatal(err)
	}
	pot := coirPot(t)
	for _, c := range []struct {
		name  string
		p     *Profile
		spec  BandSpec
		field string
		words string
	}{
		{"full above capacity", pot, BandSpec{FullPoint: at(0.72)}, "full_point", "above the container capacity 0.5882 of coir-mix in pot-7l"},
		{"crossed", pot, BandSpec{FullPoint: at(0.40), RefillPoint: at(0.45)}, "refill_point", "is not below the full point 0.4000"},
		{"narrow", pot, BandSpec{FullPoint: at(0.50), RefillPoint: at(0.49)}, "refill_point", "less than 0.02 below"},
		{"per cent", pot, BandSpec{FullPoint: at(55)}, "full_point", "60 % is 0.60"},
		{"refill below theta_r", pot, BandSpec{RefillPoint: at(0.05)}, "refill_point", "below theta_r"},
		{"short pot, much air", short, BandSpec{MinAirFilledPorosity: at(0.59), MaxSuctionKPa: at(0.9)}, "max_suction_kpa", "taller container"},
		{"tall pot", tall, BandSpec{MaxSuctionKPa: at(4)}, "max_suction_kpa", "at capacity the mean suction is 4.9 kPa"},
		{"suction below 0", pot, BandSpec{MaxSuctionKPa: at(-5)}, "max_suction_kpa", "0.5 to 30 kPa"},
		{"air", pot, BandSpec{MinAirFilledPorosity: at(15)}, "min_air_filled_porosity", "outside"},
		{"dryback", pot, BandSpec{OvernightDryback: math.NaN()}, "overnight_dryback", "outside"},
		{"drain", pot, BandSpec{DrainFraction: 10}, "drain_fraction", "outside"},
		{"pore EC", pot, BandSpec{PoreEC: at(-1)}, "pore_ec", "outside"},
	} {
		b, err := NewBand(c.p, c.spec)
		got := FieldErrors(err)
		if len(got) != 1 || got[0].Field != c.field || !strings.Contains(got[0].Text, c.words) {
			t.Errorf("%s: %v, want %s: ...%s...", c.name, err, c.field, c.words)
		}
		if b != (Band{}) {
			t.Errorf("%s: a refused band came back as %+v", c.name, b)
		}
	}
	_, err = NewBand(pot, BandSpec{FullPoint: at(2), MaxSuctionKPa: at(99), DrainFraction: -1})
	if got := FieldErrors(err); len(got) < 3 {
		t.Errorf("%d faults told, want all: %v", len(got), err)
	}
}

// TestBandIsHeld: whatever is asked, a band that comes back is one the container
// can hold.
func TestBandIsHeld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		var spec BandSpec
		maybe := func(name string, low, high float64) *float64 {
			if rapid.Bool().Draw(t, name+" asked") {
				return at(rapid.Float64Range(low, high).Draw(t, name))
			}
			return nil
		}
		spec.FullPoint, spec.RefillPoint = maybe("full", 0, 1), maybe("refill", 0, 1)
		spec.MinAirFilledPorosity, spec.MaxSuctionKPa = maybe("air", 0, 0.6), maybe("suction", 0.5, 30)
		b, err := NewBand(p, spec)
		if err != nil {
			for _, f := range FieldErrors(err) {
				if f.Field == "" || f.Text == "" {
					t.Fatalf("a refusal without words: %v", err)
				}
			}
			return
		}
		if b.FullPoint > p.ContainerCapacity()+0.0005 || b.RefillPoint < p.substrate.Retention.ThetaR || b.Width() < MinBandWidth-1e-9 {
			t.Fatalf("band %+v of capacity %g", b, p.ContainerCapacity())
		}
		if spec.FullPoint == nil && p.AirFilledPorosity(b.FullPoint) < orDefault(spec.MinAirFilledPorosity, DefaultMinAirFilledPorosity)-1e-12 {
			t.Fatalf("the full point leaves %g air", p.AirFilledPorosity(b.FullPoint))
		}
	})
}

func orDefault(x *float64, d float64) float64 {
	if x == nil {
		return d
	}
	return *x
}
