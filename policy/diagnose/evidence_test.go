package diagnose

import (
	"slices"
	"strconv"
	"testing"
	"time"

	"rhizostat/policy/advice"
)

// Where one probe speaks for a zone a closed valve and a blocked emitter of its container
// look the same, and both are said. A second container or a drain gauge tells them apart.
func TestOneProbeCannotTellAValveFromItsEmitter(t *testing.T) {
	n := Naming{Location: time.UTC, Probe: strconv.Itoa}
	for name, c := range map[string]struct {
		probes int
		gauge  bool
		spread bool
	}{"one probe": {1, false, true}, "two probes": {2, false, false}, "one probe and a drain gauge": {1, true, false}} {
		m, at := known()
		m.Baselines.Of[Account] = Baseline{}
		if c.gauge {
			m.Baselines.Of[Account] = Baseline{Days: leastDays, Var: 0.01}
		}
		in := inputs()
		in.Water.LastMs, in.Water.LastShotMs = at, at
		at = water(m, in, at, 6, 0)
		in.ProbeCount = c.probes
		for i := range in.Probes[:c.probes] {
			in.Probes[i] = Probe{Heard: true, Mean: in.WaterContent, AtMs: at}
		}
		m.Look(in, at)
		found := m.Findings(at, n)
		if len(found) == 0 || found[0].Cause != ValveStuckClosed.String() {
			t.Fatalf("%s: found %+v", name, found)
		}
		said := slices.ContainsFunc(found[0].Evidence, func(r advice.Reason) bool { return r.Code == "one-speaks" })
		p := found[0].Probability
		second := 0.0
		if len(found) > 1 && found[1].Cause == EmitterFault.String() {
			second = found[1].Probability
		}
		if said != c.spread || (p < 0.7) != c.spread || (second > 0.3) != c.spread {
			t.Errorf("%s: a closed valve with %.2f, an emitter with %.2f, said so %v", name, p, second, said)
		}
		if _, led, _, _ := m.Leading(); led < 0.7 {
			t.Errorf("%s: that something keeps water out is held for %.2f only", name, led)
		}
	}
}
