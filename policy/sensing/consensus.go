package sensing

import (
	"math"
	"math/bits"
)

// MaxProbes is the largest number of probes of one zone.
const MaxProbes = 16

// Consensus is what the probes of a zone say together. Each probe's reading,
// turned into the zone's mean water content, differs from the others' by an
// offset that is its own: where it sits, how it was calibrated. The offsets are
// learned, and the zone is the robust centre of the readings less their offsets.
//
// Two offsets are kept for each. Near follows within hours, so that probes that
// answer to a shot at different speeds still agree and one that drops out or
// comes back does not move the zone. Far follows over days; its sum over the
// probes is drawn to 0, which makes the zone the mean of its probes, and Near is
// drawn to it in common, so that the level stays there. A probe that was moved
// changes its own offset and nothing else: what it moved by is added to the sum.
//
// The zero value knows no probe. It is plain data of fixed size, part of the
// snapshot.
type Consensus struct {
	Probes   [MaxProbes]Opinion
	FirstMs  int64
	NewestMs int64
	Scatter  float32           // of the probes about the zone, m3/m3
	Members  uint16            // probes that counted last
	Count    uint8             // one more than the highest probe heard
	History  [historyN]float32 // the level at past steps of historyMs
	Slot     int64             // of the newest of them
	Sum      float32           // what the far offsets should sum to: 0, and the moves of probes
}

// Opinion is what one probe last said of the zone.
type Opinion struct {
	AtMs   int64
	Value  float64 // the zone's water content by this probe alone, m3/m3
	Near   float32 // m3/m3
	Far    float32 // m3/m3
	EveryS float32 // its usual interval
	AgeS   float32 // for how long it has been learned from
	Usable bool
	Known  bool
	Moved  bool // its offset is void
}

const (
	nearS       = 3 * hourS
	farS        = 6 * dayS
	meanS       = 20 * dayS // how fast the sum of the far offsets is drawn to Sum
	firstMeanS  = 1 * dayS  // ... and in the first days
	firstMs     = 1 * dayMs
	commonReach = 0.001         // of one probe in that, m3/m3
	commonS     = 1.5 * hourS   // how fast the level is drawn back to the far offsets: faster than near ones follow, or one bad probe could lead all others away
	backMost    = 0.03          // m3/m3, of a change of offset in a silence that is taken as it is
	onTimeMs    = 3 * minuteMs  // always on time
	startMs     = 30 * minuteMs // offsets of probes first heard within this are set at once
	historyMs   = 5 * minuteMs
	historyN    = 6

	// noiseFloor is the least standard deviation of a zone's value, m3/m3: probes
	// read to 0.001 and answer to the water around their rods, not to the whole
	// container. loneFloor is added where one probe speaks for the zone. Common
	// practice, no source; on the three measured zones the residual of a probe to
	// its peer has 0.004 to 0.008.
	noiseFloor = 0.002
	loneFloor  = 0.004
	spreadMost = 0.012 // that one probe adds to the spread: beyond it the robust centre does not follow
	// loneLevel is how far a single probe's level may be off the zone's, m3/m3: the
	// spread of single places in a substrate (common practice, no source).
	loneLevel = 0.03
)

// Observe takes what a probe (0 to MaxProbes-1) says of the zone's water
// content, m3/m3, at an instant in Unix milliseconds; a probe that is not usable
// leaves the zone until it is again. Readings older than the probe's last are
// passed over.
func (c *Consensus) Observe(probe int, atMs int64, value float64, usable bool) {
	p := &c.Probes[probe]
	if atMs < p.AtMs {
		return
	}
	if !usable {
		p.Usable = false
		c.Members &^= 1 << probe // what it said last is no level to keep
		return
	}
	c.Count = max(c.Count, uint8(probe)+1)
	if c.FirstMs == 0 {
		c.FirstMs = atMs
	}
	level, known := c.level(max(atMs, c.NewestMs))
	dt := min(float64(atMs-p.AtMs)/1000, hourS)
	gap := 0.0
	if p.Known {
		gap = dt
	}
	switch {
	case p.Moved && known && c.Members&^(1<<probe) != 0:
		far := float32(value - level)
		c.Sum += far - p.Far
		p.Near, p.Far, p.Moved, p.AgeS = far, far, false, 0
		dt = 0
	case !p.Known || p.Moved:
		c.join(p, probe, atMs, value, level, known)
		dt = 0
	case known && c.Members&(1<<probe) == 0 && abs(value-level-float64(p.Near)) < backMost:
		// back from silence: it joins where the others are, and says its own again
		// as its near offset follows
		p.Near = float32(value - level)
		dt = 0
	}
	if p.EveryS == 0 {
		p.EveryS = float32(gap)
	} else if gap > 0 {
		p.EveryS += float32(min(max(gap-float64(p.EveryS), -0.2*float64(p.EveryS)), 0.2*float64(p.EveryS))) / 4
	}
	p.AtMs, p.Value, p.Usable = atMs, value, true
	c.NewestMs = max(c.NewestMs, atMs)
	c.learn(p, dt)
	c.remember(atMs)
}

// join gives a new probe its offset.
func (c *Consensus) join(p *Opinion, probe int, atMs int64, value, level float64, known bool) {
	*p = Opinion{Known: true, Usable: true, AtMs: atMs, Value: value}
	if c.alone(probe) {
		c.FirstMs = atMs // all others were forgotten: begin again
	}
	if known {
		p.Near = float32(value - level)
		p.Far = p.Near
	}
	if atMs-c.FirstMs > startMs {
		return
	}
	// at the start the zone is the mean of the probes from the first moment
	sum, n := 0.0, 0
	for i := range c.Probes[:c.Count] {
		if q := &c.Probes[i]; q.Known {
			sum += float64(q.Near)
			n++
		}
	}
	for i := range c.Probes[:c.Count] {
		if q := &c.Probes[i]; q.Known {
			q.Near -= float32(sum / float64(n))
			q.Far = q.Near
		}
	}
}

// alone reports that no other probe is known.
func (c *Consensus) alone(probe int) bool {
	for i := range c.Probes[:c.Count] {
		if i != probe && c.Probes[i].Known {
			return false
		}
	}
	return true
}

// Move voids the offset of a probe that was moved. Its next reading sets it anew,
// at the level that the others hold.
func (c *Consensus) Move(probe int) {
	c.Members &^= 1 << probe
	c.Probes[probe].Moved = c.Probes[probe].Known
}

// Forget voids all that was learned of a probe: it enters like a new one.
func (c *Consensus) Forget(probe int) {
	c.Members &^= 1 << probe
	c.Probes[probe] = Opinion{}
}

// fresh says which probes count at an instant: those that are on time, or where
// none is, those that are not much too late. A late one would hold the zone back
// where the water was as it last spoke.
func (c *Consensus) fresh(atMs int64) uint16 {
	onTime, late := uint16(0), uint16(0)
	for i := range c.Probes[:c.Count] {
		p := &c.Probes[i]
		if !p.Known || !p.Usable {
			continue
		}
		age := atMs - p.AtMs
		if p.EveryS > 0 && age <= max(int64(1700*p.EveryS), onTimeMs) || p.EveryS == 0 && age <= unknownSilenceMs {
			onTime |= 1 << i
		}
		if age <= lateMs(p.EveryS) {
			late |= 1 << i
		}
	}
	if onTime != 0 {
		return onTime
	}
	return late
}

func lateMs(everyS float32) int64 {
	if everyS == 0 {
		return unknownSilenceMs
	}
	return min(max(int64(3500*everyS), 2*shortestSilenceMs), longestSilenceMs)
}

// level returns the zone's water content at an instant. Who is asked may change;
// the answer hardly does, since each near offset has followed its own probe.
func (c *Consensus) level(atMs int64) (float64, bool) {
	c.Members = c.fresh(atMs)
	if c.Members == 0 {
		return 0, false
	}
	centre, _ := c.centre(c.Members, huberReach)
	return centre, true
}

func (c *Consensus) centre(mask uint16, reach float64) (float64, int) {
	var values [MaxProbes]float64
	for i := range c.Probes[:c.Count] {
		values[i] = c.Probes[i].Value - float64(c.Probes[i].Near)
	}
	return location(&values, mask, reach)
}

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
// number, 0.03 where one stands alone. It hardly changes from one hour to the
// next, so it says nothing against drybacks and rises.
func (c *Consensus) LevelSD() float64 {
	sum, n := 0.0, 0
	for i := range c.Probes[:c.Count] {
		if p := &c.Probes[i]; p.Known {
			sum += float64(p.Far) * float64(p.Far)
			n++
		}
	}
	if n < 2 {
		return loneLevel
	}
	return math.Sqrt(sum / float64(n-1) / float64(n))
}

// Offset returns by how much a probe reads above the zone, m3/m3; false for one
// that was never heard.
func (c *Consensus) Offset(probe int) (float64, bool) {
	p := &c.Probes[probe]
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

// remember keeps the level of the last half hour in steps.
func (c *Consensus) remember(atMs int64) {
	level, ok := c.level(c.NewestMs)
	if !ok {
		return
	}
	slot := atMs / historyMs
	if slot-c.Slot >= historyN || c.Slot == 0 {
		for i := range c.History {
			c.History[i] = float32(level)
		}
		c.Slot = slot
	}
	for c.Slot < slot {
		next := (c.Slot + 1) % historyN
		c.History[next] = c.History[c.Slot%historyN]
		c.Slot++
	}
	c.History[c.Slot%historyN] = float32(level)
}
