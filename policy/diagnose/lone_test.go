package diagnose

import "testing"

// Levels that sink in a zone with one probe are the container's or the probe's, and nothing
// tells which: the two are told together, each with what speaks for it and a look. With a
// second probe that shows the same they are the container's.
func TestSinkingLevelsMayBeTheOnlyProbe(t *testing.T) {
	for _, c := range []struct {
		speaks uint8
		spread bool
	}{{1, true}, {2, false}} {
		m, at := play(7, 14, 3, map[Feature]float64{Peak: -0.08, Plateau: -0.08, Rest: -0.08, Rise: -0.4})
		m.Fast.Speaks = c.speaks
		f := m.Findings(at, words)
		if len(f) == 0 || f[0].Cause != RootBound.String() {
			t.Fatalf("%d probes: %+v", c.speaks, f)
		}
		told := len(f) > 1 && f[1].Cause == SensorFault.String() && f[1].Probability > 0.25 && says(f[1].Evidence, "level-or-probe")
		if told != c.spread || c.spread && (f[0].Probability > 0.7 || f[1].Look.Code != "look-lift") {
			t.Errorf("%d probes: %+v", c.speaks, f)
		}
	}
}

// Levels that rise in a zone with one probe are the container's or the probe's likewise; that the
// container drains more slowly, too, tells that it is the container.
func TestRisingLevelsMayBeTheOnlyProbe(t *testing.T) {
	for name, c := range map[string]struct {
		speaks uint8
		beside map[Feature]float64
		spread bool
	}{
		"one probe":  {1, nil, true},
		"two probes": {2, nil, false},
		"one probe, and a container that is sluggish": {1, map[Feature]float64{DrainTime: 0.7}, false},
	} {
		moved := map[Feature]float64{Peak: 0.045, Plateau: 0.045, Rest: 0.045}
		for k, by := range c.beside {
			moved[k] = by
		}
		m, at := play(7, 14, 3, moved)
		m.Fast.Speaks = c.speaks
		f := m.Findings(at, words)
		if len(f) == 0 || f[0].Cause != Compaction.String() {
			t.Fatalf("%s: %+v", name, f)
		}
		told := len(f) > 1 && f[1].Cause == SensorFault.String() && f[1].Probability > 0.25 && says(f[1].Evidence, "level-or-probe-higher")
		if told != c.spread || c.spread && f[0].Probability > 0.7 {
			t.Errorf("%s: %+v", name, f)
		}
	}
}
