package sensing

// Panel is the health of a zone's probes and what they agree on, joined: the way
// readings go in and the zone's water content comes out. Plain data, part of the
// snapshot.
type Panel struct {
	Health    Each[ProbeHealth]
	Consensus Consensus
	Rejoined  bool // probes count again that were taken for ill; the level may have stepped
}

// Zone is what the panel is told of the zone at a reading.
type Zone struct {
	WaterMs int64   // when water was last given as far as it was reported; 0: never
	Ceiling float64 // total porosity, m3/m3; 0: not known
	Least   float64 // below it no substrate that roots live in reads, m3/m3; 0: not known
	// Wilting is the water content at which crops wilt for good, and Capacity the mean of a
	// container that has drained, m3/m3; 0: not known.
	Wilting, Capacity float64
	Floor             float64 // below it a container is so dry that the crop drinks less, m3/m3; 0: not known
}

// Observe takes one probe's reading at its own time (Unix milliseconds): own the
// water content at the probe, mean the zone's by this probe alone, both m3/m3.
// It returns the probe's health; the reading counts for the zone only if that is
// OK.
func (p *Panel) Observe(probe int, atMs int64, own, mean float64, z Zone) Health {
	h := p.Health.At(probe)
	if atMs <= h.LastMs && h.Heard > 0 {
		return h.State
	}
	s := Surroundings{WaterMs: z.WaterMs, Ceiling: z.Ceiling, Least: z.Least, Wilting: z.Wilting}
	s.Drains = z.Capacity > 0 && mean-float64(p.Consensus.Probes.At(probe).Far) >= z.Capacity
	s.Others, s.OthersN = p.Consensus.Others(probe, atMs)
	s.Dry = s.OthersN > 0 && p.Consensus.dry(probe, mean, s.Others, z.Floor)
	if s.OthersN > 0 && h.asksOthers(own) {
		s.OthersRose = p.Consensus.rose(atMs)
	}
	before := h.State
	counted := before.Usable() && p.Consensus.heardOf(probe, atMs)
	state := h.Observe(atMs, own, mean, s)
	if state == Drifting && before != Drifting && p.together(probe) {
		p.rejoin(atMs)
		state = h.State
	}
	p.admit(probe, atMs, mean, state)
	if state.Usable() != counted {
		for i := range p.Health { // what each is held against has stepped
			p.Health[i].Still.overlook()
		}
	}
	return state
}

// Refuse records that a probe said something that cannot be.
func (p *Panel) Refuse(probe int, atMs int64) Health {
	state := p.Health.At(probe).Refuse(atMs)
	if !state.Usable() {
		p.Consensus.Observe(probe, atMs, 0, false)
	}
	return state
}

// Misdated records whether the shell finds a probe's clock wrong.
func (p *Panel) Misdated(probe int, atMs int64, wrong bool) Health {
	state := p.Health.At(probe).Misdated(atMs, wrong)
	if !state.Usable() {
		p.Consensus.Observe(probe, atMs, 0, false)
	}
	return state
}

// Moved records that a person moved a probe.
func (p *Panel) Moved(probe int, atMs int64) {
	p.Health.At(probe).Moved(atMs)
	p.Consensus.Observe(probe, atMs, 0, false)
}

// Looked records that a person looked at the probes and found them well, and reports
// whether any counts again for that.
func (p *Panel) Looked(atMs int64) (changed bool) {
	for i := range p.Health {
		changed = p.Health[i].Looked(atMs) || changed
	}
	return changed
}

// Repotted records that every probe sits in another container or substrate.
func (p *Panel) Repotted(atMs int64) {
	for i := range p.Health {
		if p.Health[i].Heard > 0 {
			p.Moved(i, atMs)
		}
	}
	p.Consensus = Consensus{}
}

// admit hands a reading to the consensus as its health allows.
func (p *Panel) admit(probe int, atMs int64, mean float64, state Health) {
	h := p.Health.At(probe)
	usable := (state.Usable() || state == Drifting && h.Drift.Dries) && !h.Held()
	// what drifted and came to rest elsewhere is like what was moved: taken as a new
	// probe, it would draw the zone's level after it for weeks
	if usable && (h.Relearn || h.Shifted) {
		p.Consensus.Move(probe)
	}
	if usable {
		h.Relearn, h.Shifted = false, false
	}
	p.Consensus.Observe(probe, atMs, mean, usable)
}

// Healthy returns how many probes are usable at an instant.
func (p *Panel) Healthy(atMs int64) int {
	n := 0
	for i := range p.Health {
		if h := &p.Health[i]; h.Heard > 0 && h.Health(atMs).Usable() {
			n++
		}
	}
	return n
}

// rose returns how far the zone has risen above the lowest level of the last
// half hour, m3/m3, at least 0.
func (c *Consensus) rose(atMs int64) float64 {
	level, ok := c.level(atMs)
	if !ok || c.Slot == 0 || atMs/historyMs-c.Slot >= historyN {
		return 0
	}
	low := level
	for _, past := range c.History {
		low = min(low, float64(past))
	}
	return level - low
}
