package simulator

import (
	"math"
	"strconv"
	"testing"

	"rhizostat/policy/internal/references"
)

// filled is the container of a row: the taper runs over the pot's height, the fill
// stops short.
func filled(r references.Row) Container {
	at := func(bottom, top string) float64 {
		b, t := r.Number(bottom), r.Number(top)
		return b + (t-b)*r.Number("fill_cm")/r.Number("height_cm")
	}
	c := Container{HeightCM: r.Number("fill_cm")}
	if r.Text("shape") == "rect" {
		c.LengthCM, c.BottomLengthCM = at("bottom_length_cm", "top_length_cm"), r.Number("bottom_length_cm")
		c.WidthCM, c.BottomWidthCM = at("bottom_width_cm", "top_width_cm"), r.Number("bottom_width_cm")
		return c
	}
	c.TopDiameterCM, c.BottomDiameterCM = at("bottom_diameter_cm", "top_diameter_cm"), r.Number("bottom_diameter_cm")
	return c
}

// Every capacity of the reference (adaptive quadrature at 40 digits of the
// hydrostatic profile; its source stands on each row) is what a soaked container
// comes to when it is left to drain, layers and all.
func TestDrainedCapacityAgreesWithReference(t *testing.T) {
	checks, worst := 0, 0.0
	for _, r := range references.Read(t, "container-capacity.csv") {
		if r.Quantity != "mean water content at container capacity" {
			continue
		}
		shape := filled(r)
		if err := shape.check(); err != nil {
			t.Fatalf("%s: %v", r.ID, err)
		}
		want, err := strconv.ParseFloat(r.Expected, 64)
		if err != nil {
			t.Fatal(err)
		}
		s := soil{g: newGrid(shape), c: newCurve(Substrate{ThetaR: r.Number("theta_r"), ThetaS: r.Number("theta_s"), TotalPorosity: r.Number("theta_s"),
			AlphaPerCM: r.Number("alpha_per_cm"), N: r.Number("n"), KsCMPerH: 200, Tortuosity: 4, WettingRatio: 1})}
		s.soak()
		var none [layers]float64
		s.advance(60*86400, &none, 0)
		got := s.water() / s.g.total
		checks++
		worst = math.Max(worst, math.Abs(got-want))
		if !(math.Abs(got-want) <= 0.004) { // 14 layers
			t.Errorf("%s: %.4f drained, %.4f in the reference", r.ID, got, want)
		}
	}
	t.Logf("%d capacities, worst difference %.5f", checks, worst)
	if checks < 30 {
		t.Errorf("only %d capacities were checked", checks)
	}
}
