package plan

import "testing"

// While the roots recover a day gets what it has a use for: in dry substrate of which much
// was believed to run past, what is lost is not poured on top, for the ways it took may be
// closed; and what the crop drinks comes in any case. Where it has shown since that much does
// run past, a day gets that on top: a crop that drinks several times what its container holds
// between the band's ends has no other water.
func TestRecoveryGivesWhatFits(t *testing.T) {
	for name, c := range map[string]struct{ capture, sd, level float64 }{
		"much ran past, and it is dry":         {0.69, 0.23, 0.47},
		"much ran past, and it is in its band": {0.69, 0.23, 0.57},
		"little ran past":                      {0.93, 0.07, 0.57},
	} {
		r := pot(7000, 600)
		r.Limits.MaxDailyML = 5000
		r.Recovering, r.Situation.UptakeRelSD = true, 0.3
		r.Situation.Capture, r.Situation.CaptureSD, r.Situation.WaterContent = c.capture, c.sd, c.level
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

// A small pot of which the shots since have told that much runs past is not left dry by what a
// day may get.
func TestRecoveryOfALeakyPotIsWatered(t *testing.T) {
	var trough [2]float64
	for i, recovering := range []bool{false, true} {
		r := pot(3000, 2500)
		r.Limits.MaxDailyML = 20_000
		r.Recovering, r.Situation.UptakeRelSD = recovering, 0.2
		r.Situation.Capture, r.Situation.CaptureSD, r.Situation.WaterContent = 0.6, 0.05, 0.55
		var s Scratch
		p := Best(r, &s)
		t.Logf("recovering %v: %d mL, at most %d; %+v", recovering, p.Setpoints.ScheduledML(), p.Setpoints.MaxVolumeML, *p.Expected)
		trough[i] = p.Expected.TroughWaterContent
	}
	if trough[1] < trough[0]-0.02 {
		t.Errorf("while it recovers the zone falls to %.3f, else to %.3f", trough[1], trough[0])
	}
}

// A day that uses up what a recovering zone has a use for says so: its night would be steadier
// with more. One that does not, and one that does not recover, does not speak of it.
func TestTheLimitOfRecoveryIsNamed(t *testing.T) {
	for name, c := range map[string]struct {
		capture, sd float64
		recovering  bool
		said        bool
	}{
		"it may run past or not": {0.69, 0.22, true, true},
		"little runs past":       {0.93, 0.03, true, false},
		"no recovery":            {0.69, 0.22, false, false},
	} {
		r := pot(3000, 2500)
		r.Limits.MaxDailyML, r.Band.DrainFraction, r.Recovering = 20_000, 0.05, c.recovering
		r.Situation.Capture, r.Situation.CaptureSD, r.Situation.WaterContent = c.capture, c.sd, 0.57
		var s Scratch
		p, said := Best(r, &s), false
		for _, reason := range p.Reasons {
			if reason.Code == "recovery-limit" {
				said = true
				t.Log(reason.Text)
			}
		}
		if said != c.said {
			t.Errorf("%s: %d mL of at most %d are planned; the limit is named %v, expected %v", name, p.Setpoints.ScheduledML(), p.Setpoints.MaxVolumeML, said, c.said)
		}
	}
}
