package diagnose

import "testing"

// A zone that is saturated day after day is said to be, though it never was anything
// else: without it roots are told to be disturbed in it.
func TestSaturatedFromTheFirstDay(t *testing.T) {
	for _, c := range []struct {
		hours float64
		said  bool
	}{{22, true}, {17, true}, {8, false}, {0, false}} {
		m := &Memory{}
		at := start
		for range 12 {
			at += dayMs
			m.Belief.fade(at)
			f := Features{Hours: 24}
			f.set(WetHours, c.hours, 0.2)
			f.set(Peak, 0.6, 0.005)
			f.StandsWet = m.Fast.Wet.day(&f)
			m.Baselines.weigh(&f, &m.Belief, at)
			m.Belief.fade(at + hourMs)
			m.Belief.fade(at + 8*hourMs)
		}
		f := m.Findings(at+8*hourMs, words)
		said := len(f) > 0 && f[0].Cause == Oversaturation.String() && says(f[0].Evidence, "stands-saturated") && says(f[0].Evidence, "roots-left-alone")
		if said != c.said {
			t.Errorf("%v h a day: %+v; expected oversaturation said: %v", c.hours, f, c.said)
		}
	}
}

// What shots told of an emitter stands for as long as the zone is too dry for more of
// them to tell; one whose water content comes back forgets as ever.
func TestAFaultIsNotForgottenWhileItsZoneStaysDry(t *testing.T) {
	for _, dry := range []bool{true, false} {
		m, at := known()
		m.Belief.LogOdds[EmitterFault] = 6
		in := inputs()
		in.Learned.UptakeML24h = 900
		m.Look(in, at)
		in.Learned.UptakeML24h = 0
		in.WaterContent = in.RefillPoint + 0.05
		if dry {
			in.WaterContent = in.RefillPoint - 0.05
		}
		for range 8 * 288 {
			at += 5 * 60_000
			in.Water.TotalML += 5
			in.Water.ReportedML += 5
			m.Fast.Dry.look(in, at)
			m.Belief.Held = m.Fast.Dry.SinceMs != 0
			m.Belief.fade(at)
		}
		p, _ := m.Belief.probabilities()
		if stands := p[EmitterFault] > 0.9; stands != dry {
			t.Errorf("eight days later, the zone dry: %v, an emitter fault is %.2f likely", dry, p[EmitterFault])
		}
		if said := says(m.evidence(EmitterFault, at, words), "stays-dry"); said != dry {
			t.Errorf("dry: %v, and that it stays so though 1440 mL a day are reported is said: %v", dry, said)
		}
	}
}

// Hours just above the saturation point count whole only where the level is known that
// well: those of a zone that is as likely below it count half, and no flood is in doubt.
func TestHoursOfSaturationAreThoseToBeExpected(t *testing.T) {
	for _, c := range []struct {
		over, sd float64 // over the saturation point; what the level may be off by
		flooded  bool
		least    float64 // h of 10
		most     float64
	}{
		{over: 0.03, sd: 0.003, least: 9.99, most: 10},
		{over: -0.03, sd: 0.003, least: 0, most: 0.01},
		{over: 0.005, sd: 0.02, least: 5.5, most: 6.5},
		{over: 0, sd: 0, least: 4.9, most: 5.1},
		{over: 0.05, sd: 0.02, least: 9.9, most: 10},
		{over: -0.05, sd: 0.02, flooded: true, least: 10, most: 10},
	} {
		var day Collector
		at := start
		in := inputs()
		in.WaterContent, in.SD, in.LevelSD, in.Flooded = in.SaturationPoint+c.over, 0, c.sd, c.flooded
		day.look(in, at)
		for range 120 {
			at += 5 * 60_000
			day.look(in, at)
		}
		if h := float64(day.WetS) / 3600; h < c.least-1e-3 || h > c.most+1e-3 {
			t.Errorf("%+v: %.2f of ten hours; expected %v to %v", c, h, c.least, c.most)
		}
	}
}
