package forecast

import "math"

// Missed is by how much the executed plans of a zone were off at one horizon
// before any shift, what came less forecast, m3/m3: a sum and the evidence in it.
type Missed struct{ Sum, Count float32 }

// What moves a plan's forecast by its own past errors. A balance that errs the
// same way each day has some number wrong that the readings do not tell apart
// (the form is ours; its sizes are tuned on the tuning seasons, where half and
// twice of each do as well within 1 %).
const (
	missedMemory = 0.9948 // a score to the next: exp(-1/192), four days of half hours
	missedPrior  = 96     // scores that no shift counts as: two days
	missedMost   = 0.02   // m3/m3, of one score (Huber): a day that went wrong is not a habit
)

func (m *Missed) add(e float64) {
	e = math.Min(math.Max(e, -missedMost), missedMost)
	m.Sum = float32(missedMemory*float64(m.Sum) + e)
	m.Count = missedMemory*m.Count + 1
}

// shift is what the next plan is moved by, m3/m3.
func (m *Missed) shift() float64 { return float64(m.Sum) / (float64(m.Count) + missedPrior) }

// shiftPlan moves the plan's values by what past plans missed. Water never leaves
// a zone drier than none: dry bounds it from below.
func (r *Record) shiftPlan(dry, out []float64) {
	var by [HorizonCount]float32
	for h := range by {
		by[h] = float32(r.Missed[h].shift())
	}
	for k := range out {
		hours := float64(k) * Step.Hours()
		v := between(&by, hours)
		if hours < float64(Horizons[0]) {
			v *= hours / float64(Horizons[0])
		}
		out[k] = math.Min(math.Max(out[k]+v, dry[k]), 1)
	}
}
