package learning

import "testing"

func TestDbg(t *testing.T) {
	for _, every := range []int64{60000, 300000} {
		p, g := newPot(11), &grower{trigger: .57, ml: 250}
		p.noise = .002
		var z Zone
		c := potConstants(p)
		start := p.at
		lastShot := int64(0)
		given := p.given
		play(p, g, &z, c, 10, every, false, false, func(ev Events) {
			if p.given != given {
				lastShot = p.at
				given = p.given
			}
			if ev.ShotAtMs != 0 {
				d := (p.at - lastShot) / minuteMs
				if d > 15 || d < 0 {
					t.Logf("every %d false at day %.2f, min since shot %d noise %.4f thr %.4f fall %.6f ticks %v", every/1000, float64(p.at-start)/float64(dayMs), d, z.Ticks.Noise, z.Ticks.threshold(), z.Ticks.Fall*300, z.Ticks.Ring[:5])
				}
			}
		})
	}
}
