package diagnose

import (
	"math"
	"testing"
)

// What shots say of emitters, gaps and roots alike stays alike while a zone is too dry for
// shots to tell anything: days that pass do not turn it into one of them.
func TestADryZoneForgetsNoneOfThemBeforeTheOthers(t *testing.T) {
	alike := [...]Cause{EmitterFault, ValveStuckClosed, EdgeChannelling, RootBound}
	b := &Belief{Held: true}
	b.fade(start)
	for _, c := range alike {
		b.add(c, 6)
	}
	b.fade(start + 6*dayMs)
	for _, c := range alike {
		if b.LogOdds[c] != 6 {
			t.Errorf("%s: log odds %.2f after six dry days; expected 6", c, b.LogOdds[c])
		}
	}
	b.Held = false
	b.fade(start + 12*dayMs)
	for _, c := range alike {
		if x := b.LogOdds[c]; x > 3 {
			t.Errorf("%s: log odds %.2f six days after the zone was dry; expected to be forgotten", c, x)
		}
	}
}

// dayOfLess weighs a day on which shots lift half, with what is set beside it, and gives the
// log odds that it leaves roots with.
func dayOfLess(beside map[Feature]float64) float64 {
	m, at := play(7, 14, 0, nil)
	r := m.Baselines.Of
	f := Features{Hours: 24, UptakeML: 900, LiftsLess: true}
	for _, k := range [...]Feature{UptakeDay, UptakeNight, RootCel, Scatter} {
		f.set(k, float64(r[k].Mean), 0.25*floors[k])
	}
	f.set(Rise, float64(r[Rise].Mean)-0.6, 0.05)
	for k := Feature(0); k < featureCount; k++ {
		if by, ok := beside[k]; ok {
			f.set(k, float64(r[k].Mean)+by, 0.002)
		}
	}
	b := Belief{AtMs: at}
	m.Baselines.weigh(&f, &b, at+dayMs)
	return float64(b.LogOdds[RootBound])
}

// In a container that is not filled nothing stands over what it holds: that does not speak
// against roots that fill it.
func TestNothingStandsOverAnUnfilledContainer(t *testing.T) {
	without, with := dayOfLess(nil), dayOfLess(map[Feature]float64{Over: -0.01})
	if math.Abs(with-without) > 1e-6 {
		t.Errorf("log odds of roots %.2f where nothing stands over an unfilled container, %.2f where that is not known; expected alike", with, without)
	}
}

// What moved the contrary way speaks for no cause, however far it moved: neither what a day
// came to, nor a shot that lifts more than is usual for water that does not come.
func TestTheContrarySpeaksForNoCause(t *testing.T) {
	for c := Cause(0); c < causeCount; c++ {
		for _, p := range predictions[c] {
			if p.shift == 0 {
				continue
			}
			for _, times := range [...]float64{0.5, 2, 5, 20} {
				x := -times * floors[p.feature] * p.shift / math.Abs(p.shift)
				if r := ratioOf(c, p.feature, x, floors[p.feature]); r > 0 {
					t.Errorf("%s: %d moved by %.3f, where it moves by %.3f: log likelihood ratio %.2f; expected none above 0", c, p.feature, x, p.shift, r)
				}
			}
		}
	}
	for _, e := range [...]float64{0.1, 0.4, 0.8, 2} {
		w := weights{e: e, spread: 0.08}
		if w.short(0.9); w.r[EmitterFault] > 0 || w.r[EdgeChannelling] > 0 || w.r[RootBound] > 0 {
			t.Errorf("a shot lifts %.1f more than usual: log likelihood ratios %.2v; expected none above 0", e, w.r)
		}
	}
}
