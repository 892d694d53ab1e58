package diagnose

import "testing"

// Where one probe speaks for a zone, a rise that nobody reported is water if it drains to
// what the container keeps, and the probe's own doing if it stays above; where the container
// was not full, or water comes slowly, nothing tells.
func TestARiseThatStays(t *testing.T) {
	for _, c := range []struct {
		name   string
		full   float32
		probes int
		slow   bool    // within an hour
		drains float64 // share of the rise that is gone within an hour
		shot   bool    // a shot is reported an hour after it
		hours  int
		leads  Cause
		said   string
	}{
		{"stays", 1, 1, false, 0, false, 3, SensorFault, "rise-stays"},
		{"stays, a day and a half later", 1, 1, false, 0, false, 36, SensorFault, "rise-stays"},
		{"is not told before water would have drained", 1, 1, false, 0, false, 1, UnreportedWatering, "rise-not-reported"},
		{"is judged once a shot has drained, too", 1, 1, false, 0, true, 2, UnreportedWatering, "rise-not-reported"},
		{"drains", 1, 1, false, 0.8, false, 3, UnreportedWatering, "rise-not-reported"},
		{"a container that was not full", 0, 1, false, 0, false, 3, UnreportedWatering, "rise-not-reported"},
		{"two probes rise", 1, 2, false, 0, false, 3, UnreportedWatering, "rise-not-reported"},
		{"water that comes slowly", 1, 1, true, 0, false, 3, UnreportedWatering, "rise-not-reported"},
	} {
		m, at := known() // comes to rest at 0.6
		m.Baselines.Full = c.full
		in := inputs()
		in.ProbeCount, in.Learned.Uptake5ML, in.Water.LastMs = c.probes, 1, at
		level := 0.59
		for look := range 10 + 12*c.hours {
			at += 5 * 60_000
			level -= in.Learned.Uptake5ML / in.VolumeML
			switch {
			case !c.slow && look == 8:
				level += 0.08
			case c.slow && look >= 8 && look < 16:
				level += 0.01
			case look > 8 && look <= 20:
				level -= c.drains * 0.08 / 12
			}
			if c.shot && look == 20 {
				in.Water.ReportedML += 40
				in.Water.TotalML += 40
				in.Water.LastMs, in.Water.LastShotMs = at, at
			}
			for i := range c.probes {
				in.Probes[i] = Probe{Heard: true, Mean: level + 0.0005*float64((look+i)%3-1), AtMs: at}
			}
			in.WaterContent = level
			m.Look(in, at)
		}
		f := m.Findings(at, words)
		if c.leads == SensorFault {
			moved := *m
			moved.Said("probe-moved", "", at, at)
			later := at
			for range 36 {
				later += 5 * 60_000
				in.Probes[0].AtMs = later
				in.Probes[0].Mean += 0.0003
				moved.Look(in, later)
			}
			if g := moved.Findings(later, words); len(g) > 0 && g[0].Cause == SensorFault.String() {
				t.Errorf("%s: a person said that the probe was moved: %+v", c.name, g)
			}
		}
		if c.hours > 24 {
			if len(f) == 0 || f[0].Cause != SensorFault.String() || !says(f[0].Evidence, c.said) {
				t.Errorf("%s: %+v", c.name, f)
			}
			continue
		}
		m.Belief.fade(at + hourMs)
		f = m.Findings(at+hourMs, words)
		if len(f) == 0 || f[0].Cause != c.leads.String() || !says(f[0].Evidence, c.said) {
			t.Errorf("%s: %+v, expected %s with %s", c.name, f, c.leads, c.said)
		}
	}
}
