package hydraulics

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rhizostat/policy/internal/references"
)

func TestRetentionAgainstReferences(t *testing.T) {
	page.Each(t, "retention.csv", "01-retention-checks.csv", checkRetention)
}

const vanGenuchten = "van Genuchten (1980), 40 digits"

func checkRetention(t *testing.T, r references.Row) {
	c := retentionOf(t, r)
	at := func(cm float64) float64 { return c.WaterContent(cm / CMPerKPa) }
	switch q := r.Quantity; {
	case q == "theta(h)" && r.Provenance == "verified":
		page.Hold(t, r, "water content at a suction", "RETC 6.02 run, 4 decimals", at(r.Number("h_cm")))
	case q == "theta(h)":
		page.Hold(t, r, "water content at a suction", vanGenuchten, at(r.Number("h_cm")))
	case q == "h(theta)":
		page.Hold(t, r, "suction at a water content", vanGenuchten, c.Suction(r.Number("theta"))*CMPerKPa)
	case strings.HasPrefix(q, "capacity C(h)"):
		page.Hold(t, r, "slope of the curve", vanGenuchten, -c.Slope(r.Number("h_cm")/CMPerKPa)/CMPerKPa)
	case strings.HasPrefix(q, "log10 K(h)"):
		k := r.Number("ks_cm_d") * c.RelativeConductivity(r.Number("h_cm")/CMPerKPa)
		page.Hold(t, r, "log10 of conductivity", "RETC 6.02 run, Mualem (1976)", math.Log10(k))
	case strings.HasPrefix(q, "inflection"):
		page.Hold(t, r, "steepest suction", vanGenuchten, c.SteepestSuctionKPa()*CMPerKPa)
	case strings.HasPrefix(q, "easily available"):
		page.Hold(t, r, "easily available water of a sample", "de Boodt & Verdonck (1972)", at(10)-at(50))
	case strings.HasPrefix(q, "water buffering"):
		page.Hold(t, r, "buffering water of a sample", "de Boodt & Verdonck (1972)", at(50)-at(100))
	case strings.HasPrefix(q, "air content"):
		page.Hold(t, r, "air content of a sample", "de Boodt & Verdonck (1972)", c.ThetaS-at(10))
	case q == "cm water column per kPa":
		page.Hold(t, r, "cm of water per kPa", "definition", CMPerKPa)
	case q == "kPa per cm water column":
		page.Hold(t, r, "kPa per cm of water", "definition", 1/CMPerKPa)
	case q == "suction from pF": // a definition of the reader's, no function of ours
	default:
		t.Errorf("%s: no check for %q", r.ID, q)
	}
}

// anyRetention draws a curve from all that Validate takes.
func anyRetention(t *rapid.T) Retention {
	r := Retention{
		ThetaR:      rapid.Float64Range(0, 0.35).Draw(t, "thetaR"),
		AlphaPerKPa: math.Exp(rapid.Float64Range(math.Log(minAlphaPerKPa), math.Log(maxAlphaPerKPa)).Draw(t, "ln alpha")),
		N:           1 + math.Exp(rapid.Float64Range(math.Log(minN-1+1e-9), math.Log(maxN-1-1e-9)).Draw(t, "ln n-1")),
	}
	r.ThetaS = rapid.Float64Range(r.ThetaR+minThetaSpan+1e-6, 0.98).Draw(t, "thetaS")
	if r.ThetaS < 0.05 {
		r.ThetaS = 0.05
	}
	if err := r.Validate(); err != nil {
		t.Fatalf("drew a refused curve %+v: %v", r, err)
	}
	return r
}

func TestRetentionInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRetention(t)
		h := math.Exp(rapid.Float64Range(math.Log(1e-3), math.Log(1e4)).Draw(t, "ln h"))
		theta := r.WaterContent(h)
		// The inverse is held in water content: where the curve is flat many
		// suctions are one water content, to the last digit.
		if back := r.WaterContent(r.Suction(theta)); math.Abs(back-theta) > 1e-9 {
			t.Fatalf("theta(h(%.17g)) = %.17g", theta, back)
		}
		if s := r.Slope(h); -s*h > 1e-4 && math.Abs(r.Suction(theta)/h-1) > 1e-6 {
			t.Fatalf("h(theta(%g)) = %g", h, r.Suction(theta))
		}
	})
}

func TestRetentionFallsAndIsFinite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRetention(t)
		a := rapid.Float64Range(-10, 1e6).Draw(t, "a")
		b := rapid.Float64Range(-10, 1e6).Draw(t, "b")
		a, b = math.Min(a, b), math.Max(a, b)
		wa, wb := r.WaterContent(a), r.WaterContent(b)
		if !(wa >= wb) || wa > r.ThetaS || wb < r.ThetaR {
			t.Fatalf("theta(%g) = %g, theta(%g) = %g of %+v", a, wa, b, wb, r)
		}
		for _, x := range []float64{r.Slope(a), r.RelativeConductivity(a), r.Suction(wa), r.SteepestSuctionKPa()} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("not finite at %g of %+v", a, r)
			}
		}
		if k := r.RelativeConductivity(a); k < 0 || k > 1 {
			t.Fatalf("relative conductivity %g", k)
		}
	})
}

// TestRetentionSlope holds the slope against a central difference.
func TestRetentionSlope(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRetention(t)
		h := math.Exp(rapid.Float64Range(-3, 6).Draw(t, "ln h"))
		d := 1e-5 * h
		want := (r.WaterContent(h+d) - r.WaterContent(h-d)) / (2 * d)
		if got := r.Slope(h); math.Abs(got-want) > 1e-6*math.Abs(want)+1e-9/h {
			t.Fatalf("slope at %g: %g, difference %g, of %+v", h, got, want, r)
		}
		if theta, slope := r.both(h); math.Abs(theta-r.WaterContent(h)) > 1e-14 || math.Abs(slope-r.Slope(h)) > 1e-9*math.Abs(slope)+1e-14 {
			t.Fatalf("both at %g: %g, %g", h, theta, slope)
		}
	})
}

func TestRetentionEnds(t *testing.T) {
	r := Retention{0.08, 0.9, 1.6, 1.75}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"full", r.WaterContent(0), 0.9},
		{"perched", r.WaterContent(-3), 0.9},
		{"infinitely dry", r.WaterContent(math.Inf(1)), 0.08},
		{"above theta_s", r.Suction(0.95), 0},
		{"at theta_r", r.Suction(0.08), MaxSuctionKPa},
		{"below theta_r", r.Suction(-1), MaxSuctionKPa},
		{"slope when full", r.Slope(0), 0},
		{"slope at silly suction", r.Slope(1e300), 0},
	} {
		if c.got != c.want {
			t.Errorf("%s: %g, want %g", c.name, c.got, c.want)
		}
	}
}

func TestRetentionRefusals(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		r     Retention
		field string
	}{
		{Retention{-0.01, 0.9, 1.6, 1.75}, "theta_r"},
		{Retention{nan, 0.9, 1.6, 1.75}, "theta_r"},
		{Retention{0.08, 1.01, 1.6, 1.75}, "theta_s"},
		{Retention{0.5, 0.5, 1.6, 1.75}, "theta_s"},
		{Retention{0.08, nan, 1.6, 1.75}, "theta_s"},
		{Retention{0.08, 0.9, 0, 1.75}, "alpha_per_kpa"},
		{Retention{0.08, 0.9, math.Inf(1), 1.75}, "alpha_per_kpa"},
		{Retention{0.08, 0.9, 1.6, 1}, "n"},
		{Retention{0.08, 0.9, 1.6, 99}, "n"},
	} {
		got := FieldErrors(c.r.Validate())
		if len(got) != 1 || got[0].Field != c.field {
			t.Errorf("%+v: %v, want one fault of %s", c.r, got, c.field)
		}
	}
	if all := FieldErrors((Retention{-1, 2, -1, 0}).Validate()); len(all) != 4 {
		t.Errorf("%d faults told, want all 4: %v", len(all), all)
	}
}
