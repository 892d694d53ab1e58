package sensing

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
// The zero value knows no probe. It is plain data, part of the snapshot.
type Consensus struct {
	Probes   Each[Opinion]
	FirstMs  int64
	NewestMs int64
	Scatter  float32           // of the probes about the zone, m3/m3
	Members  uint16            // probes that counted last
	Count    uint8             // one more than the highest probe heard
	History  [historyN]float32 // the level at past steps of historyMs
	Slot     int64             // of the newest of them
	Sum      float32           // what the far offsets should sum to: 0, and the moves of probes
	Parting  uint8             // one more than the probe that parts from all others, 0: none
	Parted   float32           // how far it counts as gone, 0 to 1
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
	p := c.Probes.At(probe)
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
	p := c.Probes.At(probe)
	p.Moved = p.Known
}

// Spoke reports whether what a probe said at an instant, Unix milliseconds, was its last
// word and counted.
func (c *Consensus) Spoke(probe int, atMs int64) bool {
	p := c.Probes.At(probe)
	return p.Usable && p.AtMs == atMs
}

// heardOf tells a probe whose last word that counted is not too old at an instant.
func (c *Consensus) heardOf(probe int, atMs int64) bool {
	p := c.Probes.At(probe)
	return p.Known && atMs-p.AtMs <= lateMs(p.EveryS)
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
	centre, n := location(&values, mask, reach)
	// a probe that is leaving all others would still decide between them where they
	// differ by more than the reach, as a median of three does
	if left := mask &^ (1 << c.Parting >> 1); c.Parting > 0 && left != mask && n > 2 {
		without, _ := location(&values, left, reach)
		centre += float64(c.Parted) * (without - centre)
	}
	return centre, n
}

// remember keeps the level of the last half hour in steps.
func (c *Consensus) remember(atMs int64) {
	slot := atMs / historyMs
	if slot == c.Slot {
		return
	}
	level, ok := c.level(c.NewestMs)
	if !ok {
		return
	}
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
