package policy

// staleMs is how long after the last observation the zone's water content is
// still taken to be known: three of the slowest usual rhythm, and a bit (common
// practice, no source).
const staleMs = 60 * 60 * 1000

// current reports whether the water content is known now.
func (z *Zone) current(at int64) bool {
	return z.m.Learned.SeenMs != 0 && at-z.m.Learned.SeenMs <= staleMs
}

// count adds the time since the last event to what the zone was in.
func (z *Zone) count(at int64) {
	if !z.current(at) {
		return
	}
	from := max(z.m.NowMs, z.m.Learned.SeenMs)
	s := float64(at-from) / 1000
	if s <= 0 {
		return
	}
	level, _, ok := z.waterContent(at)
	if !ok {
		return
	}
	t := &z.m.Totals
	switch z.position(level) {
	case "below":
		t.BelowBand += s
	case "above":
		t.AboveBand += s
	default:
		t.InBand += s
	}
	if level > z.ground.saturated {
		t.Saturation += s
		z.m.Saturation.add(at, s)
	}
}

// position says where a water content lies against the band.
func (z *Zone) position(level float64) string {
	switch {
	case level < z.ground.band.RefillPoint:
		return "below"
	case level > z.ground.band.FullPoint:
		return "above"
	}
	return "in"
}
