package diagnose

import "testing"

// untold plays hours of a zone whose waterings nobody reports, with none to be seen: it falls
// by a share of what its crop drinks.
func untold(m *Memory, in *Inputs, at int64, hours int, share float64) int64 {
	in.Water.Reports, in.ProbeCount, in.Learned.Uptake5ML = false, 1, 10
	for look := range hours * 12 {
		at += 5 * 60_000
		in.ClimateMs = at
		in.WaterContent -= share * usualUptake(in, &m.Baselines) * 300 / in.VolumeML
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
		m.Look(in, at)
	}
	return at
}

// Where nobody reports what is given, a full container that no longer falls is fed all the
// same; once it is known how it falls after waterings that were seen. Before that it may only
// be watered without anyone seeing it.
func TestAnOpenValveOfAZoneThatReportsNothing(t *testing.T) {
	for name, c := range map[string]struct {
		days         int
		share, level float64
		leads        bool
	}{
		"does not fall":                        {4, 0, 0.6, true},
		"does not fall, its falls not known":   {0, 0, 0.6, false},
		"falls by three quarters":              {4, 0.75, 0.6, false},
		"does not fall, below what it holds":   {4, 0, 0.5, false},
		"does not fall, and its usual is half": {-4, 0.5, 0.6, false},
	} {
		m, at := play(3, 10, 0, nil)
		in := inputs()
		usually := 1.0
		if c.days < 0 {
			c.days, usually = -c.days, 0.5
		}
		for range c.days {
			in.WaterContent, in.Water.LastShotMs = 0.6, at
			at = untold(m, in, at, 12, usually)
		}
		in.WaterContent, in.Water.LastShotMs = c.level, at
		untold(m, in, at, 10, c.share)
		cause, p, _, wrong := m.Leading()
		if (wrong && cause == ValveStuckOpen) != c.leads {
			t.Errorf("%s: %v leads with %.2f, wrong %v; log odds of the valve %.1f, %d falls known", name, cause, p, wrong, m.Belief.LogOdds[ValveStuckOpen], m.Fast.Fall.Usual.Spread)
		}
	}
}

// A zone with room for water that falls as it drinks gets none: whatever was said of its valve
// is over within hours, reported or not.
func TestAValveThatClosedAgain(t *testing.T) {
	for _, reports := range []bool{true, false} {
		m, at := play(3, 10, 0, nil)
		in := inputs()
		for range 4 {
			in.WaterContent, in.Water.LastShotMs = 0.6, at
			at = untold(m, in, at, 12, 1)
		}
		m.Belief.LogOdds[ValveStuckOpen] = 9
		in.WaterContent, in.Water.LastShotMs = 0.57, at
		if reports {
			in.Water.LastMs = at
		}
		for look := range 9 * 12 {
			at += 5 * 60_000
			in.Water.Reports, in.ClimateMs = reports, at
			in.WaterContent -= usualUptake(in, &m.Baselines) * 300 / in.VolumeML
			in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
			m.Look(in, at)
		}
		if got := m.Belief.LogOdds[ValveStuckOpen]; got > 3 {
			t.Errorf("reported %t: log odds of an open valve 9 -> %.1f after nine hours of falls as usual, to %.2f", reports, got, in.WaterContent)
		}
	}
}
