package learning

// caught takes drain that was caught for a sight of the capacity: a container
// that gives off more of what it was just given than runs past the substrate is
// full, whatever it was thought to hold, unless it has held more at rest. Without
// this the water that still drains passes for uptake on a zone's first days, and
// more is given for it.
func (z *Zone) caught(c *Constants) {
	a := &z.Account
	if z.SeenMs == 0 || z.AtMs-z.SeenMs > 20*minuteMs || z.AtMs-z.CaughtMs < hourMs || z.Shown() > z.Capacity.Mean-0.005 {
		return
	}
	if z.notFull(z.AtMs-caughtHours*hourMs, z.AtMs) {
		return
	}
	given, drained := 0.0, 0.0
	for back := range caughtHours {
		i := mod(int64(a.Head)-int64(back), accountHours)
		given += float64(a.Irrigation[i])
		drained += float64(a.Reported[i])
	}
	if given < 0.01*c.VolumeML || drained < (1-z.Capture.Mean+caughtShare)*given {
		return
	}
	z.CaughtMs, z.OverfullMs = z.AtMs, z.AtMs
	p := z.capacityBounds(c)
	z.Capacity.take(z.Shown()+0.005, 0.015, &p)
}

const (
	// caughtHours is how many hours of water and drain are held against each
	// other: drain is told after the shot that made it.
	caughtHours = 3
	// caughtShare is how much more than runs past must come out, of what was
	// given: a gauge and the share that runs past are known to a tenth or so
	// (common practice, no source).
	caughtShare = 0.2
)
