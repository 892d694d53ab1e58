package plan

import "testing"

// While the roots recover a day gets what it has a use for: in dry substrate of which much
// is believed to run past, what is lost is not poured on top, for the ways it took may be
// closed; and what the crop drinks comes in any case.
func TestRecoveryGivesWhatFits(t *testing.T) {
	for name, c := range map[string]struct{ capture, level float64 }{
		"much ran past, and it is dry":         {0.47, 0.47},
		"much ran past, and it is in its band": {0.47, 0.57},
		"little ran past":                      {0.93, 0.57},
	} {
		r := pot(7000, 600)
		r.Limits.MaxDailyML = 5000
		r.Recovering, r.Situation.UptakeRelSD = true, 0.3
		r.Situation.Capture, r.Situation.CaptureSD, r.Situation.WaterContent = c.capture, 0.2, c.level
		var s Scratch
		p := Best(r, &s)
		start := s.members[0].start
		fills := (0.585 - start) * 7000 // the full point of recovery
		most := (fills + 1.4*600) / 0.9
		t.Logf("%s: %d mL, at most %d, of %.0f; drain %d", name, p.Setpoints.ScheduledML(), p.Setpoints.MaxVolumeML, most, p.Expected.DrainML)
		if got := float64(p.Setpoints.MaxVolumeML); got > most+1 {
			t.Errorf("%s: the day may get %.0f mL; %.0f fill it and are drunk on a thirsty day: %.0f", name, got, fills, most)
		}
		if got := float64(p.Setpoints.ScheduledML()); got > 0 && float64(p.Setpoints.MaxVolumeML) < 0.8*600 {
			t.Errorf("%s: the day may get %d mL where the crop drinks 600", name, p.Setpoints.MaxVolumeML)
		}
	}
}
