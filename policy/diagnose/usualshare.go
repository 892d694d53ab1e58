package diagnose

import "math"

// Answer is a share that is usual.
type Answer struct {
	Mean, Var float32
	Doubt     float32 // mean variance that noise and uptake give it
	Drains    Drains
	Windows   uint16
}

// learn takes a window of a zone that is well into what is usual here. The spread is
// let grow further than the mean, so that shares of two kinds are not taken for one
// with outliers.
func (u *Answer) learn(e, spread, sd, pace float64) {
	w := math.Max(1/float64(u.Windows+3), pace)
	u.Mean += float32(w * math.Min(math.Max(e, -clip*spread), clip*spread))
	u.learnSpread(e, spread, sd, pace)
}

// learnSpread takes how far a window was off, and not where it should have been.
func (u *Answer) learnSpread(e, spread, sd, pace float64) {
	u.Windows = min(u.Windows+1, 10000)
	w := math.Max(1/float64(u.Windows+2), pace)
	u.Doubt += float32(w * (sd*sd - float64(u.Doubt)))
	e = math.Min(math.Max(e, -2.5*spread), 2.5*spread)
	u.Var = float32((1 - w) * (float64(u.Var) + w*e*e))
}
