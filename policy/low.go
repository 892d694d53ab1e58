package policy

import "math"

// readsLow is by how much the zone's probes are taken to read low, m3/m3. A container that
// seems to hold less than its physics makes of it has probes that read low, or does hold
// less; the difference falls to each by how far off it may be (the mean of the one normal
// error, given its sum with the other). Only so: a full point that is taken too high does
// more harm than one too low. Where a container is weighed its level is known.
func (z *Zone) readsLow() float64 {
	for i := range z.settings.Probes {
		if z.settings.Probes[i].Calibration.Kind == "weight" {
			return 0
		}
	}
	capacity, probes := &z.m.Learned.Capacity, z.m.Panel.Consensus.LevelSD()
	missing := rewetted*z.ground.constants.DesignCapacity - capacity.Mean
	if missing <= 0 {
		return 0
	}
	share := probes * probes / (probes*probes + containerSD*containerSD + capacity.Var)
	return math.Min(share*missing, probes)
}

// rewetted is what a container that is watered again and again comes to hold of what it
// holds once it was soaked through: substrate takes water up along another curve than it
// gives it off, and containerSD is how far its capacity then lies from that, m3/m3
// (common practice, no source).
const rewetted, containerSD = 0.95, 0.03
