package diagnose

import "testing"

// A probe that is stuck is told once more water was reported than it could have stood
// still through, also where the zone has no other and so no water content of its own.
// Water that comes between one reading and the next is no stillness, and a coarse probe
// may say the same through a step.
func TestStuckProbes(t *testing.T) {
	for _, c := range []struct {
		name  string
		every int     // looks between readings
		step  float64 // m3/m3
		stuck bool
		zone  bool // the zone's water content is known all the same
		hours int
		told  bool
	}{
		{"well", 3, 0, false, true, 24, false},
		{"coarse and well", 1, 0.01, false, true, 24, false},
		{"stuck", 3, 0, true, true, 6, true},
		{"stuck and alone", 3, 0, true, false, 6, true},
		{"coarse and stuck", 1, 0.01, true, true, 16, true},
	} {
		m, at := known()
		in := inputs()
		in.ProbeCount, in.Learned.Uptake5ML = 1, 10
		level, read, look := 0.55, 0.55, 0
		play := func(hours int, stuck bool) {
			for range hours * 12 {
				at += 5 * 60_000
				if look++; look%12 == 5 { // what is given is drunk
					in.Water.ReportedML += 120
					in.Water.TotalML += 120
					in.Water.LastMs, in.Water.LastShotMs = at, at
					level += 120 / in.VolumeML
				}
				level -= 10 / in.VolumeML
				p := &in.Probes[0]
				if look%c.every == 0 {
					if !stuck {
						if read = level + 0.0003*float64(look/c.every%3); c.step > 0 {
							read = float64(int(read/c.step)) * c.step
						}
					}
					*p = Probe{Heard: true, Mean: read, AtMs: at}
				}
				in.WaterContent, in.Current = level, !stuck || c.zone
				m.Look(in, at)
			}
		}
		play(48, false)
		if m.Fast.WorstProbe != 0 {
			t.Errorf("%s: told before anything was wrong", c.name)
		}
		play(c.hours, c.stuck)
		if told := m.Fast.WorstProbe != 0; told != c.told {
			t.Errorf("%s: told %v after %d h: %+v", c.name, told, c.hours, *m.Fast.Recently.Still.At(0))
		}
	}
}
