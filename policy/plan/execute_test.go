package plan

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// What is sunk over hours taken in one go is the sum over their steps.
func TestBelowOverIsTheSumOfItsSteps(t *testing.T) {
	var s Scratch
	rapid.Check(t, func(t *rapid.T) {
		r := anyRequest(t)
		s.begin(r)
		m := &s.members[rapid.IntRange(0, allMembers-1).Draw(t, "member")]
		b := s.balanceOf(m)
		k := rapid.IntRange(0, len(s.uptake)-2).Draw(t, "from")
		to := rapid.IntRange(k+1, len(s.uptake)).Draw(t, "to")
		w := rapid.Float64Range(0.2, 0.8).Draw(t, "w")
		level := func(i int) float64 { return w - b.uptake*b.perML*(s.drunk[i]-s.drunk[k]) }
		sum := 0.0
		for i := k + 1; i <= to; i++ {
			sum += s.below(level(i))
		}
		if got := s.belowOver(&b, w, level(to), k, to); math.Abs(got-sum) > 1e-6*(1+sum) {
			t.Fatalf("steps %d to %d from %v: %v; step by step %v", k, to, w, got, sum)
		}
	})
}
