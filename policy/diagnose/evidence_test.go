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

// A fault that harms within the day and has evidence is told though what is likelier has none
// yet; one that is unlikely is not, nor what may wait.
func TestWhatHarmsWithinTheDayDoesNotWait(t *testing.T) {
	for _, c := range []struct {
		cause   Cause
		odds    float32
		expects bool
	}{{ValveStuckOpen, 8, true}, {ValveStuckOpen, 5, false}, {EdgeChannelling, 8, false}} {
		m, at := known()
		m.Belief.LogOdds = [causeCount]float32{}
		m.Belief.LogOdds[Oversaturation], m.Belief.LogOdds[c.cause] = 7, c.odds
		m.Fast.Fall = FallWatch{SawMs: at, Expected: 0.012, Fell: 0.001}
		m.Fast.Shots.Recent = 0.2
		m.Belief.settle(at)
		at += 6 * hourMs
		m.Belief.settle(at)
		if len(m.evidence(c.cause, at, words)) == 0 || len(m.evidence(Oversaturation, at, words)) > 0 {
			t.Fatalf("%v has no evidence, or %v has", c.cause, Oversaturation)
		}
		f := m.Findings(at, words)
		if got := len(f) > 0 && f[0].Cause == c.cause.String(); got != c.expects {
			t.Errorf("log odds of %v %.0f beside %v at 7: %+v", c.cause, c.odds, Oversaturation, f)
		}
	}
}
