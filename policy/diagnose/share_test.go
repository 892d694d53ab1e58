package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"
)

// How far shares stray is learned from what they do: noise that was thought larger than it
// is widens them no longer, one that was thought smaller does, and a look that is less
// certain than those before is taken for that.
func TestSpreadOfSharesIsLearned(t *testing.T) {
	for name, c := range map[string]struct{ thought, is, now, expected float64 }{
		"half of what it was thought": {0.5, 0.25, 0.5, 0.25},
		"as thought":                  {0.3, 0.3, 0.3, 0.3},
		"twice as large":              {0.2, 0.4, 0.2, 0.4},
		"none at all":                 {0.3, 0, 0.3, sureFall},
		"less certain than before":    {0.3, 0.2, 0.5, math.Sqrt(0.2*0.2 + 0.5*0.5 - 0.3*0.3)},
	} {
		s, r := Share{}, rand.New(rand.NewPCG(7, 7))
		if got := s.spread(c.thought); math.Abs(got-math.Hypot(usualFall, c.thought)) > 1e-9 {
			t.Errorf("%s: strays by %.2f before any was seen", name, got)
		}
		for range 400 {
			s.learn(c.is*r.NormFloat64(), c.thought, true)
		}
		if got := s.spread(c.now); math.Abs(got-c.expected) > 0.2*c.expected {
			t.Errorf("%s: strays by %.2f; expected %.2f", name, got, c.expected)
		}
	}
}

// Falls that may be what is wrong make no spread: it would hide the next.
func TestADoubtfulShareMakesNoSpread(t *testing.T) {
	s, r := Share{}, rand.New(rand.NewPCG(7, 7))
	for range 60 {
		s.learn(0.2*r.NormFloat64(), 0.2, true)
	}
	before, mean := s.spread(0.2), s.mean()
	for range 10 {
		s.learn(-1, 0.2, false)
	}
	if got := s.spread(0.2); got != before {
		t.Errorf("strays by %.2f after ten falls that did not come, by %.2f before", got, before)
	}
	if s.mean() > mean-0.05 {
		t.Errorf("%.2f of what is expected still comes, %.2f did", s.mean(), mean)
	}
}
