package hydraulics

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/optimize"
)

// Point is one measured point of a retention curve.
type Point struct {
	SuctionKPa   float64 // kPa, 0 for a saturated sample
	WaterContent float64 // m3/m3
}

// What Fit asks of points.
const (
	minDistinct   = 3    // suctions above 0
	minSpan       = 3.0  // largest over smallest suction above 0
	minFall       = 0.03 // m3/m3, wettest less driest
	maxRise       = 0.02 // m3/m3, from one suction to the next: scatter of a laboratory
	maxFitRMSE    = 0.05 // m3/m3
	saturatedKPa  = 0.05 // kPa: a sample this close to zero suction is a saturated one
	pullOfPrior   = 1e-4 // m3/m3 per unit of the prior's own spread
	minFitN       = 1.05
	maxFitN       = 8.0
	minFitAlphaKP = 0.01 // 1/kPa
	maxFitAlphaKP = 60.0
)

// Fit returns the van Genuchten curve through measured points of a substrate
// with a total porosity, and the root mean square of the points' distances from
// it, m3/m3.
//
// Theta_s is the mean of the points at zero suction where there are any, total
// porosity otherwise: a water release curve starts at the total pore space (de
// Boodt & Verdonck 1972). The other three are found by least squares, each kept
// in bounds by a logistic transform, with the Nelder-Mead simplex of a general
// library from several fixed starts. Three points carry three parameters only
// just: where several curves serve equally well, a pull a hundred times weaker
// than a laboratory's scatter prefers n near 1.6 and theta_r near half of the
// driest point (the middle of what substrates show; common practice, no source).
//
// It refuses, with what to do, points that cannot carry a curve: fewer than
// three distinct suctions above 0, a span below 3 to 1, no fall, a rise of more
// than 0.02 m3/m3, a water content above total porosity, a fit worse than 0.05.
func Fit(points []Point, totalPorosity float64) (Retention, float64, error) {
	sorted, err := fittable(points, totalPorosity)
	if err != nil {
		return Retention{}, 0, err
	}
	t := transform{thetaS: saturatedOf(sorted, totalPorosity), driest: sorted[len(sorted)-1].WaterContent}
	for _, p := range sorted {
		t.driest = math.Min(t.driest, p.WaterContent)
	}
	problem := optimize.Problem{Func: func(x []float64) float64 {
		r := t.curve(x)
		return squares(r, sorted) + t.prior(x)
	}}
	best, bestF := []float64(nil), math.Inf(1)
	for _, start := range fitStarts {
		res, err := optimize.Minimize(problem, start[:], &optimize.Settings{MajorIterations: 4000, FuncEvaluations: 8000}, &optimize.NelderMead{SimplexSize: 0.5})
		if res == nil || math.IsNaN(res.F) {
			return Retention{}, 0, fmt.Errorf("points: the optimiser stopped: %w; measure the points again", err)
		}
		if res.F < bestF {
			best, bestF = res.X, res.F
		}
	}
	r := t.curve(best)
	rmse := math.Sqrt(squares(r, sorted) / float64(len(sorted)))
	if rmse > maxFitRMSE {
		return Retention{}, 0, &FieldError{Field: "points", Text: fmt.Sprintf("no curve comes nearer to them than %.3f m3/m3; expected at most %.2g; check their units and order, [kPa, m3/m3], and total_porosity %.4g", rmse, maxFitRMSE, totalPorosity)}
	}
	return r, rmse, nil
}

// fitStarts span what substrates show, in the transformed space: theta_r low and
// high, air entry at coarse and fine pores.
var fitStarts = [...][3]float64{{0, 2, -1}, {0, 0, -1}, {0, 0, 0.5}, {2, 1, -0.5}, {-2, -1, -1.5}, {-2, 2, -2}}

// transform carries the open space to the bounded one.
type transform struct{ thetaS, driest float64 }

func (t transform) curve(x []float64) Retention {
	return Retention{
		ThetaR:      math.Min(math.Min(t.driest, t.thetaS-minThetaSpan), maxThetaR) * logistic(x[0]),
		ThetaS:      t.thetaS,
		AlphaPerKPa: math.Exp(between(x[1], math.Log(minFitAlphaKP), math.Log(maxFitAlphaKP))),
		N:           1 + math.Exp(between(x[2], math.Log(minFitN-1), math.Log(maxFitN-1))),
	}
}

// prior is the weak pull; it also keeps the simplex from wandering off where a
// bound has flattened the logistic.
func (t transform) prior(x []float64) float64 {
	n := math.Log((1+math.Exp(between(x[2], math.Log(minFitN-1), math.Log(maxFitN-1))))-1) - math.Log(0.6)
	return pullOfPrior * pullOfPrior * (x[0]*x[0]/4 + x[1]*x[1]/100 + n*n)
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

func between(x, low, high float64) float64 { return low + (high-low)*logistic(x) }

// squares is the sum of squared distances, (m3/m3)^2.
func squares(r Retention, points []Point) float64 {
	var sum float64
	for _, p := range points {
		d := r.WaterContent(p.SuctionKPa) - p.WaterContent
		sum += float64(d * d)
	}
	return sum
}

// saturatedOf is theta_s: measured, or the total porosity.
func saturatedOf(sorted []Point, totalPorosity float64) float64 {
	var sum, count float64
	for _, p := range sorted {
		if p.SuctionKPa <= saturatedKPa {
			sum, count = sum+p.WaterContent, count+1
		}
	}
	if count == 0 {
		return totalPorosity
	}
	return math.Min(sum/count, totalPorosity)
}

// fittable returns the points by rising suction, or why they cannot carry a
// curve.
func fittable(points []Point, totalPorosity float64) ([]Point, error) {
	var f faults
	f.check(within(totalPorosity, 0.2, 1), "total_porosity", "%.4g is outside 0.2 to 1 m3/m3", totalPorosity)
	for i, p := range points {
		field := fmt.Sprintf("points[%d]", i)
		f.check(within(p.SuctionKPa, 0, 2000), field, "suction %.4g is outside 0 to 2000 kPa; expected [kPa, m3/m3], suction positive", p.SuctionKPa)
		f.check(within(p.WaterContent, 0, totalPorosity+1e-9), field, "water content %.4g is outside 0 to total_porosity %.4g; expected [kPa, m3/m3]; 60 %% is 0.60", p.WaterContent, totalPorosity)
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	sorted := slices.Clone(points)
	slices.SortStableFunc(sorted, func(a, b Point) int {
		switch {
		case a.SuctionKPa < b.SuctionKPa:
			return -1
		case a.SuctionKPa > b.SuctionKPa:
			return 1
		}
		return 0
	})
	if why := unfit(sorted, totalPorosity); why != nil {
		return nil, &FieldError{Field: "points", Text: why.Error()}
	}
	return sorted, nil
}

// unfit says why sorted points cannot carry a curve, or nil.
func unfit(sorted []Point, totalPorosity float64) error {
	distinct, first, last := 0, 0.0, 0.0
	for i, p := range sorted {
		if p.SuctionKPa <= saturatedKPa {
			continue
		}
		if distinct == 0 {
			first = p.SuctionKPa
		}
		if p.SuctionKPa != last {
			distinct++
		}
		last = p.SuctionKPa
		if i > 0 && p.WaterContent > sorted[i-1].WaterContent+maxRise && p.SuctionKPa > sorted[i-1].SuctionKPa {
			return fmt.Errorf("water content rises from %.4g at %.4g kPa to %.4g at %.4g kPa; expected it to fall as suction grows; measure again", sorted[i-1].WaterContent, sorted[i-1].SuctionKPa, p.WaterContent, p.SuctionKPa)
		}
	}
	if distinct < minDistinct {
		return fmt.Errorf("%d distinct suctions above zero; expected at least %d, such as 1, 5 and 10 kPa", distinct, minDistinct)
	}
	if last < minSpan*first {
		return fmt.Errorf("suctions span %.4g to %.4g kPa; expected the largest at least %g times the smallest, such as 1 to 10 kPa", first, last, minSpan)
	}
	if full := saturatedOf(sorted, totalPorosity); full < 0.05 {
		return fmt.Errorf("the saturated points hold only %.4g m3/m3; expected above 0.05; check their units, [kPa, m3/m3]", full)
	}
	if fall := saturatedOf(sorted, totalPorosity) - sorted[len(sorted)-1].WaterContent; fall < minFall {
		return fmt.Errorf("water content falls by only %.4g from saturation to %.4g kPa; expected at least %.2g; measure drier points", fall, last, minFall)
	}
	if sorted[len(sorted)-1].WaterContent == 0 {
		return errors.New("the driest point holds no water; expected above 0; leave points of oven-dry samples out")
	}
	return nil
}
