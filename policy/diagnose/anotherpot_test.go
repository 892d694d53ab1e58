package diagnose

import "testing"

// What water made of the old pot is not held against the new one: how much of it usually
// stayed, that it stood dry or wet, and where its water content was an hour ago.
func TestANewPotIsNotHeldToTheOldOne(t *testing.T) {
	m, at := known()
	at = water(m, inputs(), at, 24, 0.4)
	m.Fast.Kept.Mean, m.Fast.Kept.Windows = 0.4, 20
	m.Fast.Dry.SinceMs, m.Fast.Wet.Days = at-3*dayMs, 3
	m.Disturbed(at, at)
	if k := &m.Fast.Kept; k.Windows != 0 || m.Fast.Dry.SinceMs != 0 || m.Fast.Wet.Days != 0 {
		t.Errorf("the new pot keeps %.2f of its water by %d stretches, is dry since %d, and was wet for %d days", k.Mean, k.Windows, m.Fast.Dry.SinceMs, m.Fast.Wet.Days)
	}
	in := inputs()
	in.ProbeCount, in.WaterContent = 1, in.WaterContent+0.04 // fresh substrate is wetter
	for look := range 24 {
		at += 5 * 60_000
		in.WaterContent -= 4 / in.VolumeML
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
		m.Look(in, at)
	}
	if u := &m.Fast.Unreported; u.AtMs != 0 || m.Belief.LogOdds[UnreportedWatering] > 0 {
		t.Errorf("the new pot's level is taken for a watering of %.3f, log odds %.1f", u.Rise, m.Belief.LogOdds[UnreportedWatering])
	}
}

// A plan that is in force when the pot is changed is not missed in the new one for its drier
// substrate: that it held less than the old one is no water that did not come.
func TestANewPotsPlanIsNotHeldToTheOldLevel(t *testing.T) {
	m, at := known()
	in := inputs()
	in.Water.Reports, in.Learned.Uptake5ML, in.ProbeCount = false, 1, 1
	in.Water.PlanMs, in.Water.Trigger = at+hourMs, 0.5
	m.Fast.Awaited.Came = cameOften
	looks := func(n int, planned float64) {
		for range n {
			at += 5 * 60_000
			in.Water.PlannedML += planned
			in.WaterContent += planned / in.VolumeML // it comes
			in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent, AtMs: at}
			m.Look(in, at)
		}
	}
	looks(14, 0)
	if m.Fast.Awaited.PlanMs == 0 {
		t.Fatal("the plan is not followed; the test wants one that is")
	}
	m.Disturbed(at, at)
	in.WaterContent -= 0.1
	looks(60, 8)
	if got := m.Belief.LogOdds[ValveStuckClosed]; got > 0 {
		t.Errorf("log odds of a closed valve %.1f; %+v", got, m.Fast.Awaited)
	}
	if m.Fast.Awaited.Came != cameOften {
		t.Error("it is forgotten that the controller follows plans")
	}
}
