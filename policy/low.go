package policy

import "math"

// readsLow is by how much the zone's probes are taken to read low, and what its container
// should hold, m3/m3. One that seems to hold less has probes that read low, or does hold
// less: the difference falls to each by how far off it may be (the mean of one normal error
// given its sum with another). Only so: a full point that is taken too high does more harm
// than one too low. Where a container is weighed its level is known.
func (z *Zone) readsLow() (low, holds float64) {
	holds = rewetted * z.ground.constants.DesignCapacity
	for i := range z.settings.Probes {
		if z.settings.Probes[i].Calibration.Kind == "weight" {
			return 0, holds
		}
	}
	capacity, probes := &z.m.Learned.Capacity, z.m.Panel.Consensus.LevelSD()
	missing := math.Max(0, holds-capacity.Mean)
	share := probes * probes / (probes*probes + containerSD*containerSD + capacity.Var)
	return math.Min(share*missing, probes), holds
}

// rewetted is what a container that is watered again and again comes to hold of what it
// holds once it was soaked through: substrate takes water up along another curve than it
// gives it off, and containerSD is how far its capacity then lies from that, m3/m3
// (common practice, no source).
const rewetted, containerSD = 0.95, 0.03
