package learning

import "testing"

// A zone that is given no water for days, as advised, has nothing to report. What wavers in
// its water content by then is noise as it was before, and no watering that nobody told of.
func TestADryWeekIsNoUnreportedWatering(t *testing.T) {
	for seed := range uint64(6) {
		p, g := newPot(100+seed), &grower{trigger: 0.57, ml: 250}
		p.noise = 0.0022
		c := potConstants(p)
		var z Zone
		play(p, g, &z, c, 4, 5*minuteMs, true, true, nil)
		p.cloud = func(int) float64 { return 0.2 } // dull: the crop hardly drinks
		before := z.Account.Totals
		shots := 0
		play(p, &grower{}, &z, c, 6, 5*minuteMs, false, true, func(ev Events) {
			if ev.ShotAtMs != 0 {
				shots++
			}
		})
		if got := z.Account.Totals.IrrigationML - before.IrrigationML; shots > 0 || got > 0 {
			t.Errorf("seed %d: %d waterings of %.0f mL were seen in six days without any", seed, shots, got)
		}
		if !z.Reports() {
			t.Errorf("seed %d: a zone that had nothing to report is taken for one that does not", seed)
		}
	}
}

// Where waterings go on to show and none is told of, the reports have ended.
func TestReportsEndWhereWateringsShowUntold(t *testing.T) {
	p, g := newPot(5), &grower{trigger: 0.57, ml: 250}
	c := potConstants(p)
	var z Zone
	play(p, g, &z, c, 4, 5*minuteMs, true, true, nil)
	if !z.Reports() {
		t.Fatal("waterings were reported and the zone is taken for one that does not")
	}
	play(p, g, &z, c, 3, 5*minuteMs, false, true, nil)
	if z.Reports() {
		t.Error("for three days waterings have shown that nobody told of, and the zone is taken for one that reports")
	}
}

// So it is where the shots became small against the noise when the reports ended: what is not
// plain but comes several times a day is water, and a zone that drank only what was told of
// would be taken for one that hardly drinks.
func TestReportsEndWhereManyFaintRisesShow(t *testing.T) {
	for seed := range uint64(3) {
		p, g := newPot(100+seed), &grower{trigger: 0.57, ml: 250}
		p.noise = 0.0022
		c := potConstants(p)
		var z Zone
		play(p, g, &z, c, 4, 5*minuteMs, true, true, nil)
		g.ml = 70
		play(p, g, &z, c, 8, 5*minuteMs, false, true, nil)
		if z.Reports() {
			t.Errorf("seed %d: for eight days small shots have come that nobody told of, and the zone is taken for one that reports", seed)
		}
	}
}
