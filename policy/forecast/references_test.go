package forecast

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"
)

// TestCRPSAgainstReferences holds the score to values published with
// scoringRules and computed by quadrature; the source is on each row.
func TestCRPSAgainstReferences(t *testing.T) {
	f, err := os.Open("../../testdata/references/scores.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	worst := 0.0
	for _, r := range rows[1:] {
		var in struct{ Mu, Sigma, Y float64 }
		if err := json.Unmarshal([]byte(r[2]), &in); err != nil {
			t.Fatalf("%s: %v", r[0], err)
		}
		want, err1 := strconv.ParseFloat(r[3], 64)
		tol, err2 := strconv.ParseFloat(r[5], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: %v %v", r[0], err1, err2)
		}
		got := CRPSNormal(in.Mu, in.Sigma, in.Y)
		worst = math.Max(worst, math.Abs(got-want))
		if math.Abs(got-want) > math.Max(tol, 4e-15*math.Abs(want)) {
			t.Errorf("%s: CRPS of N(%v, %v) at %v is %.15g, expected %.15g", r[0], in.Mu, in.Sigma, in.Y, got, want)
		}
	}
	t.Logf("%d values, worst difference %.1e", len(rows)-1, worst)
	if len(rows) < 20 {
		t.Errorf("%d reference values, expected at least 20", len(rows)-1)
	}
}
