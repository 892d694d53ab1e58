package sensing

import "math/bits"

// learn moves the offsets after a reading of p.
func (c *Consensus) learn(p *Opinion, dt float64) {
	if _, known := c.level(c.NewestMs); !known || dt <= 0 {
		return
	}
	p.AgeS = float32(min(float64(p.AgeS)+dt, 60*dayS))
	age := float64(p.AgeS)
	// offsets are learned against a centre that one bad probe hardly moves: against
	// the level itself it would lead the good ones after it
	steady, _ := c.centre(c.Members, commonReach)
	off := p.Value - float64(p.Near) - steady
	c.Scatter += float32((abs(off) - float64(c.Scatter)) * min(dt/(6*hourS), 0.1))
	step := off * min(dt/nearS, 0.5)
	p.Near += float32(min(max(step, -nearMost), nearMost))
	apart := float64(p.Near - p.Far)
	if c.NewestMs-c.FirstMs > firstMs {
		apart = min(max(apart, -farMost), farMost)
	}
	p.Far += float32(apart * min(dt/min(farS, age+hourS), 1))
	c.centreOffsets(dt / float64(c.Count)) // every probe's reading comes here
}

// nearMost caps what one reading teaches the near offset, m3/m3; farMost the
// distance from which the far one follows it no faster.
const (
	nearMost = 0.002
	farMost  = 0.01
)

// centreOffsets draws the near offsets, in common, to the far ones; the common
// part is a robust centre, so that the drift of one probe is its own affair. It
// also draws the sum of the far offsets to what it should be, over weeks.
func (c *Consensus) centreOffsets(dt float64) {
	var apart [MaxProbes]float64
	mask := uint16(0)
	sum, known := 0.0, 0
	for i := range c.Probes[:c.Count] {
		p := &c.Probes[i]
		if !p.Known {
			continue
		}
		sum += float64(p.Far)
		known++
		apart[i] = float64(p.Near - p.Far)
		if p.Usable {
			mask |= 1 << i
		}
	}
	common, _ := location(&apart, mask, commonReach)
	c.part(&apart, mask, common)
	common *= min(dt/commonS, 0.5)
	constant := meanS
	if c.NewestMs-c.FirstMs < firstMs {
		constant = firstMeanS
	}
	mean := (sum - float64(c.Sum)) / float64(known) * min(dt/constant, 1)
	for i := range c.Probes[:c.Count] {
		p := &c.Probes[i]
		if !p.Known {
			continue
		}
		p.Far -= float32(mean)
		if p.Usable {
			p.Near -= float32(common)
		}
	}
}

// A probe that parts from the others counts in full up to partsFrom beyond the
// next one's distance, and no longer from partsFrom + partsOver, m3/m3: places
// differ by a few hundredths in how far they dry within the hours that near offsets
// take (common practice, no source), and a fault goes on from there. Health takes
// longer, for it calls the probe ill; here it only stops deciding for the others.
const (
	partsFrom = 0.01
	partsOver = 0.02
)

// part finds the probe whose near offset has left its far one by most, and how far
// it counts as gone.
func (c *Consensus) part(apart *[MaxProbes]float64, mask uint16, common float64) {
	most, next := 0.0, 0.0
	c.Parting, c.Parted = 0, 0
	for rest := mask; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros16(rest)
		switch d := abs(apart[i] - common); {
		case d > most:
			most, next = d, most
			c.Parting = uint8(i + 1)
		case d > next:
			next = d
		}
	}
	c.Parted = float32(min(max((most-next-partsFrom)/partsOver, 0), 1))
}
