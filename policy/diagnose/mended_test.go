package diagnose

import (
	"testing"

	"rhizostat/policy/sensing"
)

// Who has mended an emitter is not sent to it again for what its container told before: it is
// dry yet, and its probe far from the others. What shots tell afterwards counts.
func TestAMendedEmitterIsNotAccusedOfThePast(t *testing.T) {
	for name, c := range map[string]struct {
		note    string
		accused bool
	}{
		"mended":      {"emitter was clogged, replaced", false},
		"looked at":   {"checked emitters, all fine", false},
		"not mended":  {"emitter was clogged, not replaced yet", true},
		"other words": {"the plants look thirsty", true},
	} {
		t.Run(name, func(t *testing.T) {
			m, at := known()
			in := inputs()
			in.ProbeCount, in.Learned.Uptake5ML = 2, 4
			in.Probes[0].Mean, in.Probes[1].Mean = 0.5, 0.5
			at = playProbes(m, in, at, 60, 36, 144, 4, 1, 1)
			at = playProbes(m, in, at, 24, 36, 144, 4, 0, 1) // p1's emitter gives nothing
			in.Probes[0].Health = sensing.Disagreeing
			if p := odds(m, at); p < 0.5 {
				t.Fatalf("an emitter that gives nothing has %.2f", p)
			}
			m.Said("watered-by-hand", c.note, at, at)
			at = playProbes(m, in, at, 4, 36, 144, 4, 0.05, 1) // dry substrate lets most of it run past at first
			if p := odds(m, at); (p > 0.5) != c.accused {
				t.Errorf("four hours after %q the emitter has %.2f; %+v", c.note, p, m.Fast.Probes[0])
			}
			if c.accused {
				return
			}
			at = playProbes(m, in, at, 36, 36, 144, 4, 0, 1)
			if p := odds(m, at); p < 0.5 {
				t.Errorf("one that was not mended after all has %.2f a day and a half later", p)
			}
		})
	}
}

// odds is what the findings give an emitter fault.
func odds(m *Memory, at int64) float64 {
	for _, f := range m.Findings(at, words) {
		if f.Cause == EmitterFault.String() {
			return f.Probability
		}
	}
	return 0
}
