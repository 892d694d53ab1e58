package sensing

import "math/bits"

// Probes fail one by one. Two or more that leave the others the same way within days
// tell of what they share: containers that dry out, because less water comes or because
// it runs past substrate that has become too dry to take it. Health judges each probe
// against what the others say, so such probes would be shut out one after the other, and
// the last wet container would speak for the zone. For the same reason one that falls
// away from its only peer is called drifting, so that people look, and goes on counting:
// it is likelier that half the zone dries than that a probe falls for days by itself, and
// water given for nothing drains (common practice, no source).

// dry tells a probe by which its container is dry, where the others' are not.
func (c *Consensus) dry(probe int, mean, others, floor float64) bool {
	own := mean - float64(c.Probes.At(probe).Far)
	return floor > 0 && own < floor && others > own+driftLeast
}

// together tells whether a probe that is found drifting goes the way of others that were
// before, and all of them are no fewer than those that are left.
func (p *Panel) together(probe int) bool {
	down := p.Health.At(probe).Drift.moved() < 0
	gone := 0
	for i := range p.Health {
		if h := &p.Health[i]; h.State == Drifting && h.Drift.moved() < 0 == down && h.Drift.Parted() > 0.5*driftLeast {
			gone++
		}
	}
	left := bits.OnesCount16(p.Consensus.Members &^ (1 << probe))
	return gone >= 2 && gone >= left
}

// rejoin lets all probes that drift count again, by the offsets they had, and has every
// probe compared anew.
func (p *Panel) rejoin(atMs int64) {
	for i := range p.Health {
		h := &p.Health[i]
		if h.Heard == 0 {
			continue
		}
		back := h.State == Drifting
		h.Drift = Drift{}
		h.Still.overlook()
		h.judge(h.LastMs)
		if back && h.State.Usable() && atMs-h.LastMs < longestSilenceMs {
			p.Consensus.Probes.At(i).Usable = true
		}
	}
	p.Rejoined = true
}

// moved is by how much the difference from the peers has moved over days, m3/m3.
func (d *Drift) moved() float64 { return float64(d.Day - d.Usual) }
