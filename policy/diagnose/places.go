package diagnose

// OtherProbes takes that the zone's probes have other places: from tells for each which
// it had, -1 none. What was gathered of one goes with it.
func (m *Memory) OtherProbes(from []int) {
	f := &m.Fast
	before := f.Probes
	f.Probes = nil
	for i, k := range from {
		if k >= 0 {
			*f.Probes.At(i) = *before.At(k)
		}
	}
	// What was seen side by side within the hour begins anew.
	f.Recently, f.Rises, f.Round = Recently{}, RiseWatch{Var: f.Rises.Var}, Round{}
	f.Shots.FromMs, f.Lifted = 0, Lifted{}
	f.Drifts = Drifts{}
	f.WorstProbe, f.WorstHealth, f.WorstStep = 0, 0, Stepped{}
}
