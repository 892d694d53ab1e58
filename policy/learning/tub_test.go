package learning

import (
	"math"
	"testing"
)

// A container of 200 L is watered once in days by some large shots, which are reported. The noise
// of its probe in between is no water: its highest readings over their neighbours, of which
// each would be litres, are not booked.
func TestNoiseIsNoWaterInALargeContainer(t *testing.T) {
	booked, drunk := 0.0, 0.0
	for seed := range uint64(8) {
		p := newPot(200 + seed)
		p.volume, p.capacity, p.perDay, p.noise, p.level = 198_000, 0.5, 4500, 0.0033, 0.45
		c := potConstants(p)
		c.DesignCapacity = 0.5
		var z Zone
		for day := range 40 {
			if day%5 == 0 {
				for range 3 {
					play(p, &grower{}, &z, c, 1./24, 5*minuteMs, true, true, nil)
					z.Water(c, p.at, 8000, true)
					p.shot(8000)
				}
				play(p, &grower{}, &z, c, 21./24, 5*minuteMs, true, true, nil)
				continue
			}
			play(p, &grower{}, &z, c, 1, 5*minuteMs, true, true, nil)
		}
		booked += z.Account.Totals.IrrigationML - p.given
		drunk += p.drunk
		t.Logf("seed %d: %.0f L given, %.0f booked", seed, p.given/1000, z.Account.Totals.IrrigationML/1000)
	}
	if over := booked / drunk; math.Abs(over) > 0.05 {
		t.Errorf("%.0f L are booked that nobody gave, %.0f %% of what was drunk", booked/1000, 100*over)
	}
}
