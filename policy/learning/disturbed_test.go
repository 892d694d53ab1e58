package learning

import (
	"math"
	"testing"
)

// Roots that are pulled out of a container's wall and pressed in again close the ways along
// which water ran past them, or they don't: after it neither the share that stayed before nor
// the usual one is known, and a few shots tell. What is believed until then must not make a
// plan pour on what is not lost any more.
func TestDisturbedRootsMayKeepAnotherShare(t *testing.T) {
	for _, after := range []float64{0.45, 0.93} {
		p, g := newPot(31), &grower{trigger: 0.5, ml: 200}
		c := potConstants(p)
		var z Zone
		play(p, g, &z, c, 10, 5*minuteMs, true, true, nil)
		z.Capture = Estimate{Mean: 0.45, Var: 0.03 * 0.03, Age: 20, Count: 100} // water ran past the roots for weeks
		p.capture = after
		z.Changed(c, p.at, RootsDisturbed)
		if low, high := z.Capture.Mean-1.5*z.Capture.SD(), z.Capture.Mean+1.5*z.Capture.SD(); low > 0.5 || high < 0.9 {
			t.Errorf("disturbed, the container keeps %.2f +- %.2f: both 0.45 and 0.93 are possible", z.Capture.Mean, z.Capture.SD())
		}
		play(p, g, &z, c, 2, 5*minuteMs, true, true, nil)
		if got := z.Capture.Mean; math.Abs(got-after) > 0.12 {
			t.Errorf("two days after the roots were disturbed capture is %.2f +- %.2f, in truth %.2f", got, z.Capture.SD(), after)
		}
	}
}
