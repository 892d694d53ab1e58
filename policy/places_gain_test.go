package policy

import (
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// How much of the water its probes see goes with their place: moved, the only one of a zone
// begins anew, and of two the other goes on.
func TestAMovedProbeSeesAnotherShare(t *testing.T) {
	for probes, anew := range map[int]bool{1: true, 2: false} {
		s := bench()
		s.Probes = s.Probes[:probes]
		z, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		at := monday
		reads := func(n int) {
			for range n {
				at = at.Add(5 * time.Minute)
				for k := range s.Probes {
					z.Step(heard(at, k, map[sensing.Signal]float64{sensing.WaterContent: 0.5 + 0.001*float64(at.Minute()%3)}))
				}
			}
		}
		reads(24)
		z.m.Learned.Gain.Mean, z.m.Learned.Gain.Var, z.m.Learned.Gain.Count = 0.7, 0.02*0.02, 60
		z.Step(Event{Kind: Operator, At: at, Operator: &OperatorEvent{Kind: ProbeMoved, By: "ann", Probe: "p1", HeightCM: 14}})
		reads(6)
		if got := z.m.Learned.Gain.SD() > 0.1; got != anew {
			t.Errorf("%d probes, one moved: the gain is %.2f +- %.2f", probes, z.m.Learned.Gain.Mean, z.m.Learned.Gain.SD())
		}
	}
}
