package diagnose

import "testing"

// Where one probe speaks for a zone and is moved, shots and the crop move what is seen by
// another share than before: what its old place made of them accuses nothing. Of a zone that
// three speak for, the others go on telling.
func TestAnotherPlaceRisesOtherwise(t *testing.T) {
	for name, c := range map[string]struct {
		told   bool
		others uint8
		blame  bool
	}{"never told": {false, 0, true}, "the only one is moved": {true, 0, false}, "one of three": {true, 2, true}} {
		m, at := play(3, 10, 0, nil)
		in := inputs()
		m.Look(in, at)
		for range 72 {
			at = sees(m, in, at, 1)
		}
		m.Fast.Speaks += c.others
		if c.told {
			m.Said("probe-moved", "", at, at)
		}
		worst := 0.0
		for range 3 * 24 {
			at = sees(m, in, at, 0.25)
			p, _ := m.Belief.probabilities()
			worst = max(worst, p[EmitterFault]+p[EdgeChannelling]+p[RootBound]+p[ValveStuckClosed])
		}
		t.Logf("%s: %.2f", name, worst)
		if got := worst > 0.3; got != c.blame {
			t.Errorf("%s: water that does not come or stay has %.2f", name, worst)
		}
	}
}

// What a moved probe makes of the level is not the container's doing.
func TestAnotherPlaceHasAnotherLevel(t *testing.T) {
	for _, told := range []bool{true, false} {
		m, at := play(3, 12, 0, nil)
		m.Fast.Speaks = 1
		const step = -0.05
		if told {
			m.Said("probe-moved", "", at, at)
			m.Releveled(step)
		}
		lower := map[Feature]float64{Peak: step, Plateau: step, Rest: step, Rise: -0.4, Over: 0.01}
		for range 3 {
			at += dayMs
			f := Features{Hours: 24, UptakeML: 900, Enough: true, Holds: 0.6}
			for k := Feature(0); k < featureCount; k++ {
				f.set(k, usual[k]+lower[k], 0.25*floors[k])
			}
			m.Belief.fade(at)
			m.Baselines.weigh(&f, &m.Belief, at)
		}
		p, _ := m.Belief.probabilities()
		t.Logf("told %v: root-bound %.2f", told, p[RootBound])
		if got := p[RootBound] > 0.3; got == told {
			t.Errorf("told %v: root-bound has %.2f", told, p[RootBound])
		}
	}
}

// sees plays an hour of water whose probe moves by a share of what the container does.
func sees(m *Memory, in *Inputs, at int64, share float64) int64 {
	in.Learned.Uptake5ML, in.ProbeCount = 4, 1
	for look := range 12 {
		at += 5 * 60_000
		in.WaterContent -= share * 4 / in.VolumeML
		if look == 5 {
			in.Water.TotalML += 60
			in.Water.ReportedML += 60
			in.Water.LastMs, in.Water.LastShotMs = at, at
			in.WaterContent += share * 0.8 * 60 / in.VolumeML
		}
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
		speaks := m.Fast.Speaks
		m.Look(in, at)
		m.Fast.Speaks = max(m.Fast.Speaks, speaks)
	}
	return at
}
