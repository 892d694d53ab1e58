package diagnose

import "testing"

// Six days keep what they are given; on the seventh nothing of it is found. In a zone at
// its usual water content the valve did not open. In one far below it the substrate
// repels water, and nobody is accused.
func TestDrySubstrateAccusesNoValve(t *testing.T) {
	for _, dry := range []bool{false, true} {
		k, b := &KeptWatch{}, &Belief{}
		in := &Inputs{WaterContent: 0.5, VolumeML: 5000}
		in.Water.Reports = true
		in.Learned = Learned{Capacity: 0.6, Noise: 0.001}
		at := start
		for day := range 7 {
			for hour := range 24 {
				at += hourMs
				if hour == 12 {
					in.Water.ReportedML += 300
					in.Water.LastMs, in.Water.LastShotMs = at, at
					if day < 6 {
						in.WaterContent += 300 / in.VolumeML
					}
				}
				if hour == 23 && day < 6 {
					in.WaterContent = 0.5
					k.begin(in, at)
				}
				k.look(in, at, &Baselines{}, b, dry && day == 6)
			}
		}
		accused := b.LogOdds[ValveStuckClosed] > 1
		if accused == dry {
			t.Errorf("dry %t: log odds of the valve %.1f of %d stretches", dry, b.LogOdds[ValveStuckClosed], k.Windows)
		}
	}
}
