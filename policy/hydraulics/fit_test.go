package hydraulics

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestFitFindsTheCurve gives it points of a known curve and takes no other.
func TestFitFindsTheCurve(t *testing.T) {
	suctions := []float64{0, 0.3, 0.6, 1, 2, 3, 5, 7, 10, 30}
	for _, name := range []string{"peat", "coir", "stone-wool", "sand", "sandy-loam", "peat-perlite"} {
		s, ok := BuiltIn(name)
		if !ok {
			t.Fatalf("no %s", name)
		}
		var points []Point
		for _, h := range suctions {
			points = append(points, Point{h, s.Retention.WaterContent(h)})
		}
		r, rmse, err := Fit(points, s.TotalPorosity)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if rmse > 1e-4 {
			t.Errorf("%s: rmse %g", name, rmse)
		}
		for _, d := range []struct {
			name      string
			got, want float64
		}{{"theta_r", r.ThetaR, s.Retention.ThetaR}, {"theta_s", r.ThetaS, s.Retention.ThetaS}, {"ln alpha", math.Log(r.AlphaPerKPa), math.Log(s.Retention.AlphaPerKPa)}, {"n", r.N, s.Retention.N}} {
			if math.Abs(d.got-d.want) > 0.01 {
				t.Errorf("%s: %s %.4f, want %.4f", name, d.name, d.got, d.want)
			}
		}
	}
}

// TestFitOfThreePoints: a laboratory's 1, 5 and 10 kPa and the total porosity
// give container capacity within what the points themselves are worth.
func TestFitOfThreePoints(t *testing.T) {
	for _, name := range []string{"peat", "coir", "peat-perlite", "coir-perlite"} {
		s, _ := BuiltIn(name)
		var points []Point
		for _, h := range []float64{10, 1, 5} { // in any order
			points = append(points, Point{h, s.Retention.WaterContent(h)})
		}
		r, rmse, err := Fit(points, s.TotalPorosity)
		if err != nil {
			t.Fatal(err)
		}
		fitted := Substrate{TotalPorosity: s.TotalPorosity, Retention: r}
		a, errA := NewProfile(s, pot7L)
		b, errB := NewProfile(fitted, pot7L)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		if d := b.ContainerCapacity() - a.ContainerCapacity(); math.Abs(d) > 0.005 || rmse > 1e-3 {
			t.Errorf("%s: capacity off by %.4f, rmse %.4g, %+v", name, d, rmse, r)
		}
	}
}

// TestFitWithScatter: points with a laboratory's scatter give a curve no farther
// from the truth than the scatter, and say so in their error.
func TestFitWithScatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Substrate{TotalPorosity: rapid.Float64Range(0.75, 0.97).Draw(t, "porosity")}
		s.Retention = Retention{
			ThetaR:      rapid.Float64Range(0.02, 0.25).Draw(t, "thetaR"),
			ThetaS:      s.TotalPorosity,
			AlphaPerKPa: math.Exp(rapid.Float64Range(-0.7, 1.5).Draw(t, "ln alpha")),
			N:           rapid.Float64Range(1.4, 3).Draw(t, "n"),
		}
		var points []Point
		for _, h := range []float64{0.5, 1, 2, 3, 5, 10, 30} {
			scatter := rapid.Float64Range(-0.01, 0.01).Draw(t, "scatter")
			points = append(points, Point{h, math.Min(s.TotalPorosity, s.Retention.WaterContent(h)+scatter)})
		}
		r, rmse, err := Fit(points, s.TotalPorosity)
		if err != nil {
			t.Fatal(err)
		}
		if rmse > 0.0101 {
			t.Fatalf("rmse %g of points within 0.01", rmse)
		}
		for _, h := range []float64{0.7, 1.5, 4, 8} {
			if d := r.WaterContent(h) - s.Retention.WaterContent(h); math.Abs(d) > 0.03 {
				t.Fatalf("at %g kPa off by %.4f: %+v of %+v", h, d, r, s.Retention)
			}
		}
		if err := (Substrate{TotalPorosity: s.TotalPorosity, Retention: r}).Validate(); err != nil {
			t.Fatalf("the fit is refused: %v", err)
		}
	})
}

// TestFitOfAnything: whatever the points, there comes a curve that a substrate
// may have or a refusal in words, never a silent number.
func TestFitOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		porosity := rapid.Float64Range(0.3, 1).Draw(t, "porosity")
		points := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Point {
			return Point{rapid.Float64Range(0, 100).Draw(t, "kPa"), rapid.Float64Range(0, porosity).Draw(t, "theta")}
		}), 0, 8).Draw(t, "points")
		r, rmse, err := Fit(points, porosity)
		if err != nil {
			if len(FieldErrors(err)) == 0 || FieldErrors(err)[0].Text == "" {
				t.Fatalf("a refusal without words: %v", err)
			}
			return
		}
		if err := (Substrate{TotalPorosity: porosity, Retention: r}).Validate(); err != nil || !(rmse >= 0 && rmse <= maxFitRMSE) {
			t.Fatalf("%+v, rmse %g: %v", r, rmse, err)
		}
	})
}

func TestFitIsTheSameEachTime(t *testing.T) {
	points := []Point{{1, 0.60}, {5, 0.35}, {10, 0.30}}
	a, ra, _ := Fit(points, 0.92)
	b, rb, _ := Fit(points, 0.92)
	if a != b || ra != rb {
		t.Errorf("%+v then %+v", a, b)
	}
}

func TestFitRefusals(t *testing.T) {
	good := []Point{{1, 0.60}, {5, 0.35}, {10, 0.30}}
	with := func(p ...Point) []Point { return append(append([]Point(nil), good...), p...) }
	for _, c := range []struct {
		name     string
		points   []Point
		porosity float64
		field    string
		words    string
	}{
		{"none", nil, 0.92, "points", "0 distinct suctions"},
		{"two", good[:2], 0.92, "points", "2 distinct suctions"},
		{"one twice", []Point{{1, 0.6}, {5, 0.4}, {5, 0.41}}, 0.92, "points", "2 distinct suctions"},
		{"zero does not count", []Point{{0, 0.9}, {1, 0.6}, {5, 0.4}}, 0.92, "points", "2 distinct suctions"},
		{"short span", []Point{{4, 0.6}, {5, 0.5}, {6, 0.45}}, 0.92, "points", "span 4 to 6 kPa"},
		{"rising", []Point{{1, 0.5}, {5, 0.4}, {10, 0.45}}, 0.92, "points", "rises from 0.4 at 5 kPa"},
		{"flat", []Point{{1, 0.91}, {5, 0.905}, {10, 0.90}}, 0.92, "points", "falls by only"},
		{"above porosity", with(Point{2, 0.95}), 0.92, "points[3]", "total_porosity 0.92"},
		{"per cent", with(Point{2, 50}), 0.92, "points[3]", "60 % is 0.60"},
		{"negative suction", with(Point{-2, 0.5}), 0.92, "points[3]", "suction positive"},
		{"NaN", with(Point{math.NaN(), 0.5}), 0.92, "points[3]", "outside"},
		{"hardly any water when full", []Point{{0, 0.04}, {1, 0.03}, {5, 0.01}, {10, 0.005}}, 0.92, "points", "hold only 0.04"},
		{"no water", []Point{{1, 0.6}, {5, 0.3}, {10, 0}}, 0.92, "points", "holds no water"},
		{"no curve", []Point{{0.1, 0.9}, {1, 0.9}, {5, 0.40}, {6, 0.41}, {30, 0.40}, {31, 0.15}}, 0.92, "points", "no curve comes nearer"},
		{"porosity", good, 1.2, "total_porosity", "outside"},
	} {
		_, _, err := Fit(c.points, c.porosity)
		got := FieldErrors(err)
		if len(got) == 0 || got[0].Field != c.field || !strings.Contains(got[0].Text, c.words) {
			t.Errorf("%s: %v, want %s: ...%s...", c.name, err, c.field, c.words)
		}
	}
}

func BenchmarkFit(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := Fit([]Point{{1, 0.60}, {5, 0.35}, {10, 0.30}}, 0.92); err != nil {
			b.Fatal(err)
		}
	}
}
