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
