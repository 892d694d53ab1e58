package climate

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestRate(t *testing.T) {
	for _, c := range []struct {
		name      string
		in        Inputs
		low, high float64 // mm/h
	}{
		{"nothing known", Inputs{}, NightRate, NightRate},
		{"temperature alone says nothing", Inputs{TemperatureCel: 35, HasTemperature: true}, NightRate, NightRate},
		// cucumber in a greenhouse loses 0.12 to 0.20 L/m2 in a night (Medrano et al. 2005)
		{"humid night", Inputs{HasPPFD: true, HasDeficit: true, DeficitKPa: 0.3}, 0.12 / 12, 0.20 / 9},
		// energy of 1000 W/m2 evaporates at most 1.47 mm/h
		{"full sun", Inputs{Radiation: 1000, HasRadiation: true, DeficitKPa: 2, HasDeficit: true}, 0.5, 1.47},
		{"full sun, deficit guessed", Inputs{Radiation: 1000, HasRadiation: true}, 0.5, 1.47},
		{"deficit alone", Inputs{TemperatureCel: 25, HumidityPercent: 60, HasTemperature: true, HasHumidity: true}, 0.1, 0.5},
		{"thermopile below zero", Inputs{Radiation: -4, HasRadiation: true}, NightRate, 0.05},
	} {
		if got := Rate(c.in); !(got >= c.low-1e-12 && got <= c.high) {
			t.Errorf("%s: %v mm/h, expected %v to %v", c.name, got, c.low, c.high)
		}
	}
	if (&Inputs{HasTemperature: true}).Known() || !(&Inputs{HasPPFD: true}).Known() {
		t.Error("temperature alone counts as known, or light does not")
	}
}

func TestRateHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := Inputs{
			Radiation:       rapid.Float64Range(0, 1500).Draw(t, "radiation"),
			PPFD:            rapid.Float64Range(0, 4000).Draw(t, "ppfd"),
			DeficitKPa:      rapid.Float64Range(0, 12).Draw(t, "deficit"),
			TemperatureCel:  rapid.Float64Range(-60, 80).Draw(t, "temperature"),
			HumidityPercent: rapid.Float64Range(0, 100).Draw(t, "humidity"),
			HasRadiation:    rapid.Bool().Draw(t, "has radiation"),
			HasPPFD:         rapid.Bool().Draw(t, "has ppfd"),
			HasDeficit:      rapid.Bool().Draw(t, "has deficit"),
			HasTemperature:  rapid.Bool().Draw(t, "has temperature"),
			HasHumidity:     rapid.Bool().Draw(t, "has humidity"),
		}
		rate := Rate(in)
		if math.IsNaN(rate) || rate < NightRate || rate > 3 {
			t.Fatalf("rate %v", rate)
		}
		more := in
		more.Radiation += 100
		more.PPFD += 200
		if Rate(more) < rate {
			t.Fatalf("more light lowers the rate from %v to %v", rate, Rate(more))
		}
		drier := in
		drier.DeficitKPa++
		drier.HumidityPercent *= 0.8
		if Rate(drier) < rate {
			t.Fatalf("drier air lowers the rate from %v to %v", rate, Rate(drier))
		}
	})
}

func TestVapourHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(-60, 80).Draw(t, "temperature")
		h := 1e-4
		numeric := (SaturationVapourPressure(c+h) - SaturationVapourPressure(c-h)) / (2 * h)
		if s := VapourPressureSlope(c); math.Abs(s-numeric) > 1e-4*numeric {
			t.Fatalf("slope at %v is %v, the curve's own %v", c, s, numeric)
		}
		rh := rapid.Float64Range(-5, 110).Draw(t, "humidity")
		if d := (Air{c, rh}).Deficit(); !(d >= 0 && d <= SaturationVapourPressure(c)) {
			t.Fatalf("deficit %v at %v Cel, %v %%", d, c, rh)
		}
	})
}

// What the cap on the deficit in the demand rests on.
func TestStomataCloseInDryAir(t *testing.T) {
	leaf := Leaf{AbsorbedRadiation: 200, LeafAreaIndex: 3, TemperatureCel: 24, CO2PPM: 400}
	flow := func(d float64) float64 { leaf.DeficitKPa = d; return d / leaf.StomatalResistance() }
	if ratio := flow(1.5) / flow(0.5); ratio < 1.3 || ratio > 1.6 {
		t.Errorf("three times the deficit makes %v times the flow; expected about one and a half", ratio)
	}
}

func BenchmarkRate(b *testing.B) {
	in := Inputs{PPFD: 600, HasPPFD: true, TemperatureCel: 24, HumidityPercent: 65, HasTemperature: true, HasHumidity: true}
	sum := 0.0
	for b.Loop() {
		sum += Rate(in)
	}
	if sum == 0 {
		b.Fatal("no demand")
	}
}
