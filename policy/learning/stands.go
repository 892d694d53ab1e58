package learning

import "math"

// stands takes a water content that has stood above the believed capacity for
// hours, without water and without draining to it, for a sight of the capacity:
// the container holds more than it was thought to. Believed to drain any minute
// it would be watered although it is full.
func (z *Zone) stands(c *Constants, at int64, w float64) {
	const over, rest = 0.01, 3 * hourMs
	s, drain := &z.Shots, int64(1000*math.Exp(z.DrainLog.Mean))
	if w < z.Capacity.Mean+over || s.StartMs != 0 || at-s.LastMs < rest || 3*drain > rest || at-z.StoodMs < hourMs {
		return
	}
	then, ok := z.History.LevelAt(at - rest)
	// drainage would have taken nine tenths of what is over, whatever is drunk
	if !ok || then < z.Capacity.Mean+over || z.History.broken(at-rest, at) || w-z.Capacity.Mean < 0.5*(then-z.Capacity.Mean) {
		return
	}
	z.StoodMs = at
	p := z.capacityBounds(c)
	z.Capacity.take(math.Min(w, c.MaxMean), 0.02, &p)
}
