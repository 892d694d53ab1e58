package diagnose

import "testing"

// A probe that is moved reads another level at once. Who told of it, whether before the rise
// was judged or after, is not asked who watered.
func TestAMovedProbeIsNoWatering(t *testing.T) {
	for name, c := range map[string]struct {
		told  int // looks after the rise, -1: never
		blame bool
	}{"never told": {-1, true}, "at once": {3, false}, "within the hour": {11, false}} {
		m, at := known()
		in := inputs()
		in.ProbeCount, in.Water.LastMs = 1, at
		level := 0.5
		for look := range 36 {
			at += 5 * 60_000
			if look == 8 {
				level += 0.06
			}
			if c.told >= 0 && look == 8+c.told {
				m.Said("probe-moved", "", at, at)
			}
			level -= 4 / in.VolumeML
			in.WaterContent = level
			in.Probes[0] = Probe{Heard: true, Mean: level + 0.0005*float64(look%3-1), AtMs: at}
			m.Look(in, at)
		}
		p, _ := m.Belief.probabilities()
		if got := p[UnreportedWatering] > 0.3; got != c.blame {
			t.Errorf("%s: an unreported watering has %.2f", name, p[UnreportedWatering])
		}
	}
}
