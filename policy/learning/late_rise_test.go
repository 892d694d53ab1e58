package learning

import (
	"math"
	"testing"
)

// A rise that shows later than ten minutes after its report has its top then: the water
// content of before says nothing of how it drains from there.
func TestALateRiseDrainsFromItsTop(t *testing.T) {
	c := potConstants(newPot(1))
	for _, late := range []int64{5, 15, 25} { // min
		var z Zone
		at := 20_000 * dayMs
		see := func(w float64) {
			at += minuteMs
			z.Observe(c, at, w, 0.001)
			if s := &z.Shots; s.After10 != 0 && s.After10Ms <= s.TopMs {
				t.Fatalf("%d min late: ten minutes after the top at %d is %d", late, s.TopMs, s.After10Ms)
			}
		}
		for range 300 {
			see(0.598)
		}
		z.Water(c, at, 300, true)
		for m := range int64(150) {
			w := 0.598
			if m >= late {
				w += 0.002 + 0.03*math.Exp(-float64(m-late)/15)
			}
			see(w)
		}
		if drain := math.Exp(z.DrainLog.Mean) / 60; !(drain > 5 && drain < 30) {
			t.Errorf("%d min late: drainage in %.1f min, really 15", late, drain)
		}
	}
}
