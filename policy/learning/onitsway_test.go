package learning

import (
	"math"
	"testing"
)

// A controller that goes by the water content of a zone whose probe lies deep gives a
// shot or two over its target, and not shots until the first one shows.
func TestWaterOnItsWayIsNotGivenAgain(t *testing.T) {
	for _, late := range []int64{0, 20, 40} { // min
		p := newPot(9)
		p.level = 0.5
		c := potConstants(p)
		var z Zone
		z.Observe(c, p.at, p.reading(), p.noise)
		levels := []float64{}
		highest := 0.0
		p.at += 7 * hourMs
		z.Advance(c, p.at)
		last := int64(0)
		for range 5 * 12 { // 07:00 to 12:00, every five minutes
			levels = append(levels, p.reading())
			z.Observe(c, p.at, levels[max(0, len(levels)-1-int(late/5))], p.noise)
			if z.Level < 0.54 && p.at-last >= 15*minuteMs {
				z.Water(c, p.at, 140, true)
				p.shot(140)
				last = p.at
			}
			highest = math.Max(highest, p.level)
			p.run(p.at + 5*minuteMs)
		}
		t.Logf("%d min late: highest %.3f, believed %.3f of %.3f", late, highest, z.Level, p.level)
		if highest > 0.54+0.02+0.01 { // a shot, and half of one
			t.Errorf("%d min late: filled to %.3f; expected at most a shot of 0.017 above 0.540", late, highest)
		}
	}
}
