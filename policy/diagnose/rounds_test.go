package diagnose

import "testing"

// A round is counted at each probe, though nothing has been kept of any before.
func TestARoundCountsAtEachProbe(t *testing.T) {
	const at = start + dayMs
	in := inputs()
	in.ProbeCount = 3
	for i := range in.ProbeCount {
		in.Probes[i] = Probe{Heard: true, Mean: 0.55, AtMs: at}
	}
	f := &Fast{Round: Round{WaterMs: at - roundMs, Open: true}}
	f.rounds(in, at)
	for i := range in.ProbeCount {
		if n := f.Probes.At(i).Rounds; n != 1 {
			t.Errorf("probe %d has %d rounds, want 1", i+1, n)
		}
	}
}

// Probes that are moved, or whose container is, have not risen from where they were: the
// round of a watering before that is none.
func TestNoRoundOutlivesAMove(t *testing.T) {
	for name, move := range map[string]func(m *Memory, atMs int64){
		"probe moved": func(m *Memory, atMs int64) { m.Said("probe-moved", "", atMs, atMs) },
		"transplant":  func(m *Memory, atMs int64) { m.Disturbed(atMs, atMs) },
	} {
		m, at := known()
		in := inputs()
		in.ProbeCount = 2
		look := func(level float64) {
			at += 5 * 60_000
			for i := range in.ProbeCount {
				in.Probes[i] = Probe{Heard: true, Mean: level + 0.1*float64(i), AtMs: at}
			}
			m.Look(in, at)
		}
		for range 12 {
			look(0.4)
		}
		in.Water.LastMs, in.Water.LastShotMs = at, at
		look(0.42)
		if !m.Fast.Round.Open {
			t.Fatalf("%s: a watering opens no round", name)
		}
		move(m, at)
		for range 12 {
			look(0.5)
			if m.Fast.Round.Open {
				t.Fatalf("%s: the watering before has a round after it", name)
			}
		}
		for i, w := range m.Fast.Probes {
			if w.Rounds != 0 {
				t.Errorf("%s: probe %d has %d rounds", name, i+1, w.Rounds)
			}
		}
		in.Water.LastMs, in.Water.LastShotMs = at, at
		look(0.5)
		if !m.Fast.Round.Open {
			t.Errorf("%s: the next watering opens no round", name)
		}
	}
}

// A probe that does not answer while the others of its zone stand where shots usually find
// them is of a container that gets no water; where all stand lower, small shots may stay above
// it.
func TestInADryZoneNoAnswerSaysLittle(t *testing.T) {
	for _, c := range []struct {
		name        string
		othersBelow float64 // m3/m3 below where shots usually find them
		cut         bool
	}{{"the others as usual", 0, true}, {"the others as wet as ever", -0.02, true}, {"all of them lower", 0.045, false}} {
		w := &ProbeWatch{Usual: 0.9, Recent: 0.9, From: 0.6, Before: 0.555, Rounds: 12, Var: 0.02}
		for range 4 {
			w.answer(0.05, 0.1, c.othersBelow)
		}
		if cut := w.Odds >= dryOdds; cut != c.cut {
			t.Errorf("%s: log odds %.1f after four shots without an answer, want at least %g: %v", c.name, w.Odds, dryOdds, c.cut)
		}
	}
}
