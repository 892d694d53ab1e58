package diagnose

import "testing"

// No shot shows in the one container that is looked at. Where drain goes on all the same, its
// valve is open and its emitter is blocked; where it ends with the water that came before, or
// where no gauge tells, the valve it is.
func TestDrainBesideLostShotsAcquitsTheValve(t *testing.T) {
	for name, c := range map[string]struct {
		drains float64 // mL an hour from the fourth on, of 60 that are reported
		heard  bool
		leads  Cause
		says   string
	}{
		"drain goes on": {6, true, EmitterFault, "drains-meanwhile"},
		"drain ends":    {0, true, ValveStuckClosed, "shots-lost"},
		"no gauge":      {6, false, ValveStuckClosed, "shots-lost"},
	} {
		m, at := known()
		m.Baselines.Of[Account] = Baseline{} // else what the gauge tells by the day is known
		in := inputs()
		in.Water.ReportedML, in.Water.TotalML = 24*60, 24*60
		in.Water.DrainHeard = c.heard
		for hour := range 9 {
			in.Water.DrainedML += 6 // of what came before
			if hour >= 4 {
				in.Water.DrainedML += c.drains - 6
			}
			at = water(m, in, at, 1, 0)
		}
		if c.heard { // a gauge tells a day's account
			m.Baselines.Of[Account] = Baseline{Days: leastDays, Var: 0.01}
		}
		t.Log(name)
		leads(t, m, at, c.leads, c.says)
	}
}
