package simulator

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"
)

// capacityInputs are the inputs of a row of container-capacity.csv.
type capacityInputs struct {
	Shape    string
	Height   float64 `json:"height_cm"`
	Fill     float64 `json:"fill_cm"`
	Top      float64 `json:"top_diameter_cm"`
	Bottom   float64 `json:"bottom_diameter_cm"`
	Length   float64 `json:"top_length_cm"`
	Width    float64 `json:"top_width_cm"`
	Length0  float64 `json:"bottom_length_cm"`
	Width0   float64 `json:"bottom_width_cm"`
	ThetaR   float64 `json:"theta_r"`
	ThetaS   float64 `json:"theta_s"`
	AlphaPer float64 `json:"alpha_per_cm"`
	N        float64
}

// Every capacity of the reference (adaptive quadrature at 40 digits of the
// hydrostatic profile; its source stands on each row) is what a soaked container
// comes to when it is left to drain, layers and all.
func TestDrainedCapacityAgreesWithReference(t *testing.T) {
	file, err := os.Open("../../testdata/references/container-capacity.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checks, worst := 0, 0.0
	for _, row := range rows[1:] {
		var in capacityInputs
		if row[1] != "mean water content at container capacity" {
			continue
		}
		if err := json.Unmarshal([]byte(row[2]), &in); err != nil {
			t.Fatalf("%s: %v", row[0], err)
		}
		// the taper runs over the pot's height, the fill stops short
		at := func(bottom, top float64) float64 { return bottom + (top-bottom)*in.Fill/in.Height }
		shape := Container{HeightCM: in.Fill, TopDiameterCM: at(in.Bottom, in.Top), BottomDiameterCM: in.Bottom,
			LengthCM: at(in.Length0, in.Length), WidthCM: at(in.Width0, in.Width), BottomLengthCM: in.Length0, BottomWidthCM: in.Width0}
		if err := shape.check(); err != nil {
			t.Fatalf("%s: %v", row[0], err)
		}
		want, err := strconv.ParseFloat(row[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		s := soil{g: newGrid(shape), c: newCurve(Substrate{ThetaR: in.ThetaR, ThetaS: in.ThetaS, TotalPorosity: in.ThetaS,
			AlphaPerCM: in.AlphaPer, N: in.N, KsCMPerH: 200, Tortuosity: 4, WettingRatio: 1})}
		s.soak()
		var none [layers]float64
		s.advance(60*86400, &none, 0)
		got := s.water() / s.g.total
		checks++
		worst = math.Max(worst, math.Abs(got-want))
		if math.Abs(got-want) > 0.004 { // 14 layers
			t.Errorf("%s: %.4f drained, %.4f in the reference", row[0], got, want)
		}
	}
	t.Logf("%d capacities, worst difference %.5f", checks, worst)
	if checks < 30 {
		t.Errorf("only %d capacities were checked", checks)
	}
}
