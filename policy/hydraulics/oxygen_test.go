package hydraulics

import (
	"math"
	"strings"
	"testing"

	"rhizostat/policy/internal/references"
)

func TestOxygenAgainstReferences(t *testing.T) {
	t.Run("solubility", func(t *testing.T) {
		page.Each(t, "oxygen-solubility.csv", "05-oxygen-solubility.csv", checkSolubility)
	})
	t.Run("respiration", func(t *testing.T) {
		page.Each(t, "oxygen-respiration.csv", "05-respiration.csv", checkRespiration)
	})
	t.Run("diffusivity", func(t *testing.T) {
		page.Each(t, "oxygen-diffusivity.csv", "05-diffusivity.csv", checkDiffusivity)
	})
}

func checkSolubility(t *testing.T, r references.Row) {
	pressure := StandardPressureKPa
	if p, ok := r.Inputs["pressure_kpa"].(float64); ok {
		pressure = p
	}
	got, err := DissolvedOxygen(r.Number("t_cel"), pressure)
	if err != nil {
		t.Errorf("%s: %v", r.ID, err)
		return
	}
	switch {
	case r.Tolerance == "refuse":
		page.Hold(t, r, "dissolved oxygen, a wrong claim", "open web", got)
	case r.Provenance == "verified":
		page.Hold(t, r, "dissolved oxygen", "EN 25814 table, a reprint", got)
	case strings.Contains(r.Quantity, "Garcia"):
		page.Hold(t, r, "dissolved oxygen", "TEOS-10 library, Garcia & Gordon", got)
	case strings.Contains(r.Quantity, "pressure"):
		page.Hold(t, r, "dissolved oxygen at a pressure", "APHA 4500-O, 40 digits", got)
	default:
		page.Hold(t, r, "dissolved oxygen", "Benson & Krause (1984), 40 digits", got)
	}
}

func checkRespiration(t *testing.T, r references.Row) {
	switch {
	case r.Quantity == "relative oxygen demand":
		page.Hold(t, r, "relative oxygen demand", "Q10 relation, 40 digits", RelativeDemand(r.Number("q10"), r.Number("t_cel"), r.Number("t_ref_cel")))
	case strings.HasPrefix(r.Quantity, "oxygen supply per demand"):
		page.Hold(t, r, "oxygen supply per demand", "Benson & Krause over Q10", 1/OxygenBurden(r.Number("t_cel")))
	case strings.HasPrefix(r.Quantity, "Q10 of root"):
		page.Hold(t, r, "default Q10", "Atkin & Tjoelker (2003), memory", DefaultQ10)
	}
}

// modelOf finds our model of a row's words.
func modelOf(words string) (DiffusivityModel, bool) {
	for _, m := range []struct {
		words string
		model DiffusivityModel
	}{
		{"Buckingham", Buckingham1904}, {"Penman", Penman1940}, {"Marshall (1959)", Marshall1959},
		{"Millington (1959)", Millington1959}, {"Millington & Quirk (1960)", MillingtonQuirk1960},
		{"Millington & Quirk (1961)", MillingtonQuirk1961}, {"water-induced linear reduction", MoldrupRepacked2000}, {"Moldrup (2000) WLR", MoldrupRepacked2000},
	} {
		if strings.Contains(words, m.words) {
			return m.model, true
		}
	}
	return "", false
}

func checkDiffusivity(t *testing.T, r references.Row) {
	e, phi := r.Number("air_filled_porosity"), r.Number("total_porosity")
	switch {
	case r.Tolerance == "refuse":
		page.Hold(t, r, "relative diffusivity, a wrong exponent", "a public code", MillingtonQuirk1961.RelativeDiffusivity(e, phi))
	case strings.HasPrefix(r.Quantity, "relative gas diffusivity"):
		if m, ok := modelOf(r.Text("model")); ok { // the full set has models we do not offer
			page.Hold(t, r, "relative diffusivity, "+string(m), "40 digits", m.RelativeDiffusivity(e, phi))
		}
	case strings.HasPrefix(r.Quantity, "air content for a given"):
		m, ok := modelOf(r.Quantity)
		if !ok {
			t.Fatalf("%s: no model in %q", r.ID, r.Quantity)
		}
		page.Hold(t, r, "air at a relative diffusivity, "+string(m), "40 digits", m.AirFilledPorosity(r.Number("ds_d0"), phi))
	}
}

func TestDissolvedOxygenRefusals(t *testing.T) {
	for _, c := range []struct{ temp, pressure float64 }{{-0.1, 101.325}, {40.1, 101.325}, {20, 40}, {20, 200}, {math.NaN(), 101.325}, {20, math.NaN()}} {
		if got, err := DissolvedOxygen(c.temp, c.pressure); err == nil {
			t.Errorf("%g Cel, %g kPa gives %g, want an error", c.temp, c.pressure, got)
		}
	}
}

func TestDiffusivityRisesAndInverts(t *testing.T) {
	for _, m := range []DiffusivityModel{Buckingham1904, Penman1940, Marshall1959, Millington1959, MillingtonQuirk1960, MillingtonQuirk1961, MoldrupRepacked2000} {
		below := -1.0
		for i := range 96 {
			e := float64(i) / 100
			d := m.RelativeDiffusivity(e, 0.95)
			if d <= below || d > 1 {
				t.Errorf("%s: %g at %g after %g", m, d, e, below)
			}
			if back := m.AirFilledPorosity(d, 0.95); math.Abs(back-e) > 1e-12 {
				t.Errorf("%s: %g comes back %g", m, e, back)
			}
			below = d
		}
		if got := m.RelativeDiffusivity(-0.1, 0.9); got != 0 {
			t.Errorf("%s: %g without air", m, got)
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("an unknown model went through")
		}
	}()
	DiffusivityModel("fick").RelativeDiffusivity(0.2, 0.9)
}

// TestDefaultDiffusivityArgument holds the numbers that the choice rests on.
func TestDefaultDiffusivityArgument(t *testing.T) {
	for _, c := range []struct {
		m         DiffusivityModel
		phi, want float64
	}{{MoldrupRepacked2000, 0.75, 0.107}, {MoldrupRepacked2000, 0.90, 0.115}, {MillingtonQuirk1961, 0.75, 0.172}, {MillingtonQuirk1961, 0.90, 0.192}} {
		if got := c.m.AirFilledPorosity(0.005, c.phi); math.Abs(got-c.want) > 0.0006 {
			t.Errorf("%s at porosity %g: %.4f, want %g", c.m, c.phi, got, c.want)
		}
	}
	if got := OxygenBurden(30); math.Abs(got-2.41) > 0.005 {
		t.Errorf("burden at 30 Cel %.3f, the doc comment says 2.41", got)
	}
	for temp, want := range map[float64]float64{30: 0.142, 10: 0.070} {
		if got := CriticalAirFilledPorosity(0.10, temp); math.Abs(got-want) > 0.0006 {
			t.Errorf("critical air at %g Cel %.4f, the doc comment says %g", temp, got, want)
		}
	}
}
