package forecast

import (
	"math"
	"strconv"
	"testing"

	"rhizostat/policy/internal/references"
)

// TestCRPSAgainstReferences holds the score to values published with
// scoringRules and computed by quadrature; the source is on each row.
func TestCRPSAgainstReferences(t *testing.T) {
	rows, worst := references.Read(t, "scores.csv"), 0.0
	for _, r := range rows {
		want, err1 := strconv.ParseFloat(r.Expected, 64)
		tolerance, err2 := strconv.ParseFloat(r.Tolerance, 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: %v %v", r.ID, err1, err2)
		}
		mu, sigma, y := r.Number("mu"), r.Number("sigma"), r.Number("y")
		got := CRPSNormal(mu, sigma, y)
		worst = math.Max(worst, math.Abs(got-want))
		if !(math.Abs(got-want) <= math.Max(tolerance, 4e-15*math.Abs(want))) {
			t.Errorf("%s: CRPS of N(%v, %v) at %v is %.15g, expected %.15g", r.ID, mu, sigma, y, got, want)
		}
	}
	t.Logf("%d values, worst difference %.1e", len(rows), worst)
	if len(rows) < 20 {
		t.Errorf("%d reference values, expected at least 20", len(rows))
	}
}
