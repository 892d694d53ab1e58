package sensing

import (
	"math"
	"math/bits"
)

// Value returns the zone's water content at an instant, m3/m3, the standard
// deviation with which it follows the zone's course, and the number of probes
// behind it; not ok where none is fresh. How far its level may be off is
// another matter, see [Consensus.LevelSD].
func (c *Consensus) Value(atMs int64) (wc, sd float64, n int, ok bool) {
	level, ok := c.level(atMs)
	if !ok {
		return 0, 0, 0, false
	}
	mask := c.Members
	spread := 0.0
	for i := range c.Probes[:c.Count] {
		if mask&(1<<i) == 0 {
			continue
		}
		p := &c.Probes[i]
		r := p.Value - float64(p.Near) - level
		r = min(abs(r), spreadMost)
		spread += r * r
		n++
	}
	between := 1.25 * float64(c.Scatter) // a mean distance of s is 1.25 s of deviation
	spread = max(spread/float64(n), between*between)
	variance := noiseFloor*noiseFloor + spread/float64(n)
	if n == 1 {
		variance += loneFloor * loneFloor
	}
	return min(max(level, 0), 1), math.Sqrt(variance), n, true
}

// LevelSD returns how far the level of the value may be off the true mean of the
// zone, m3/m3: the spread of the probes' own levels over the root of their
// number, 0.03 where one stands alone. Of few probes the spread is known badly: one
// more that is off by 0.03 is counted with them, so that two that happen to agree
// are not taken for right. It hardly changes from one hour to the
// next, so it says nothing against drybacks and rises.
func (c *Consensus) LevelSD() float64 {
	sum, n := 0.0, 0
	for i := range c.Probes[:c.Count] {
		if p := &c.Probes[i]; p.Known {
			sum += float64(p.Far) * float64(p.Far)
			n++
		}
	}
	n = max(n, 1)
	return math.Sqrt((sum + loneLevel*loneLevel) / float64(n) / float64(n))
}

// Apart is how far apart the lowest and the highest of the probes that count lie at an
// instant, each by what it alone says of the zone, m3/m3; 0 for fewer than two.
func (c *Consensus) Apart(atMs int64) float64 {
	low, high := 2.0, -1.0
	for rest := c.fresh(atMs); rest != 0; rest &= rest - 1 {
		v := c.Probes[bits.TrailingZeros16(rest)].Value
		low, high = min(low, v), max(high, v)
	}
	return max(high-low, 0)
}

// Offset returns by how much a probe reads above the zone, m3/m3; false for one
// that was never heard.
func (c *Consensus) Offset(probe int) (float64, bool) {
	p := c.Probes.At(probe)
	return float64(p.Far), p.Known
}

// Others returns what the zone's other probes say of its water content, by their
// far offsets, so that a drift between them shows in full; n is how many they
// are. With two or more others it is the robust centre of all, the probe itself
// among them: the mean of two others would let the one that drifts accuse the one
// that does not.
func (c *Consensus) Others(probe int, atMs int64) (wc float64, n int) {
	mask := c.fresh(atMs)
	others := bits.OnesCount16(mask &^ (1 << probe))
	if others < 2 {
		mask &^= 1 << probe
	}
	var values [MaxProbes]float64
	for i := range c.Probes[:c.Count] {
		values[i] = c.Probes[i].Value - float64(c.Probes[i].Far)
	}
	wc, _ = location(&values, mask, huberReach)
	return wc, others
}

// Complete reports whether every probe that counts has spoken since the newest
// reading less half of its own interval: a value taken earlier mixes the new
// readings of some with the old ones of others.
func (c *Consensus) Complete(atMs int64) bool {
	for i := range c.Probes[:c.Count] {
		p := &c.Probes[i]
		if c.fresh(atMs)&(1<<i) != 0 && c.NewestMs-p.AtMs > int64(500*p.EveryS) {
			return false
		}
	}
	return true
}
