package sensing

// Drift follows the difference of a probe from its peers. Two probes of a zone
// may differ by 0.1 for ever: that is where they sit, an offset to learn. What
// counts is that the difference moves: over days (drifting), or out of its usual
// range within hours (disagreeing).
//
// With one peer only, the difference alone does not tell which of the two
// moved. Then the one is meant whose own level left its own past.
type Drift struct {
	ComparedS float32 // for how long there were peers to compare with, s
	Hour      float32 // difference, mean of about the last hour, m3/m3
	Day       float32 // ... of the last day
	Usual     float32 // ... of the last week
	Scatter   float32 // mean distance of the difference from Day
	OwnHour   float32 // own reading, means of the same lengths
	OwnDay    float32
	OwnUsual  float32
	OffS      float32 // for how long the difference has been out of its usual range, s
	DriftS    float32 // for how long its day's mean has
	CalmS     float32 // ... and for how long it has held still since
	CalmAt    float32 // the difference that it holds

	Drifting, Disagreeing, Forgotten bool
	Dries                            bool // it drifts down from its only peer
}

const (
	hourS = 3600.0
	dayS  = 24 * hourS

	usualS      = 6 * dayS // memory of the usual difference
	compareS    = 1 * dayS // no verdict before
	driftAfterS = 3 * dayS // none on drift before
	driftLeast  = 0.035    // m3/m3, of the day's mean from the usual
	// gainShare is the share of the zone's own move by which a probe may fall behind
	// it or run ahead: places differ in how much they dry (common practice, no
	// source; the recorded zones show up to a third).
	gainShare   = 0.35
	driftForS   = 8 * hourS
	offLeast    = 0.05 // m3/m3, of the hour's mean from the day's
	offScatters = 5.0
	offForS     = 3 * hourS
	calmForS    = 2 * dayS // a difference that held this long is a new offset
	calmWithin  = 0.01     // m3/m3
	ownShare    = 0.6      // of the difference's move that must be one's own, with one peer
	bothLeast   = 0.12     // m3/m3, from which both are meant where neither stands out
)

// forgotten reports, once, that an illness ended by learning a new difference.
func (d *Drift) forgotten() bool {
	f := d.Forgotten
	d.Forgotten = false
	return f
}

// Parted is by how much the difference from the peers has moved over days, m3/m3.
func (d *Drift) Parted() float64 { return abs(d.moved()) }

func (d *Drift) observe(atMs, dtMs int64, own, mean float64, s Surroundings) {
	if s.OthersN == 0 {
		return
	}
	dt := float64(dtMs) / 1000
	difference := mean - s.Others
	if d.ComparedS == 0 {
		d.Hour, d.Day, d.Usual = float32(difference), float32(difference), float32(difference)
		d.OwnHour, d.OwnDay, d.OwnUsual = float32(own), float32(own), float32(own)
	}
	d.ComparedS = float32(min(float64(d.ComparedS)+dt, 30*dayS))
	age := float64(d.ComparedS)
	toward(&d.Hour, difference, dt, min(hourS, age))
	toward(&d.OwnHour, own, dt, min(hourS, age))
	if !d.Disagreeing {
		toward(&d.Day, difference, dt, min(dayS, age))
		toward(&d.OwnDay, own, dt, min(dayS, age))
		toward(&d.Scatter, abs(difference-float64(d.Day)), dt, min(5*dayS, age))
	}
	if !d.Drifting && !d.Disagreeing {
		toward(&d.Usual, float64(d.Day), dt, min(usualS, age))
		toward(&d.OwnUsual, float64(d.OwnDay), dt, min(usualS, age))
	}
	d.judge(dt, s.OthersN)
	if d.Drifting || d.Disagreeing {
		d.recover(dt, s.Dry)
	}
}

// toward moves a running mean by an exponential of a time constant in s.
func toward(mean *float32, value, dt, constant float64) {
	if constant <= dt {
		*mean = float32(value)
		return
	}
	*mean += float32((value - float64(*mean)) * dt / constant)
}

func (d *Drift) judge(dt float64, peers int) {
	drift, own := float64(d.Day-d.Usual), float64(d.OwnDay-d.OwnUsual)
	limit := max(driftLeast, 2.5*float64(d.Scatter)) + gainShare*abs(own-drift)
	if float64(d.ComparedS) > driftAfterS && abs(drift) > limit && mine(drift, own, peers) {
		d.DriftS = min(d.DriftS+float32(dt), 2*driftForS)
	} else {
		d.DriftS = max(d.DriftS-float32(dt), 0)
	}
	off := float64(d.Hour - d.Day)
	own = float64(d.OwnHour - d.OwnDay)
	limit = max(offLeast, offScatters*float64(d.Scatter)) + gainShare*abs(own-off)
	if float64(d.ComparedS) > compareS && abs(off) > limit && mine(off, own, peers) {
		if peers > 1 { // the further off, the sooner: several others cannot all be wrong
			dt *= min(off*off/(limit*limit), 4)
		}
		d.OffS = min(d.OffS+float32(dt), 2*offForS)
	} else {
		d.OffS = max(d.OffS-2*float32(dt), 0)
	}
	if !d.Drifting && !d.Disagreeing {
		d.Drifting = d.DriftS > driftForS
		d.Dries = d.Drifting && peers == 1 && d.moved() < 0
		d.Disagreeing = !d.Drifting && d.OffS > offForS
		d.CalmS, d.CalmAt = 0, d.Hour
	}
}

// mine reports whether a move of the difference is this probe's own doing.
func mine(move, own float64, peers int) bool {
	if peers > 1 {
		return true
	}
	return own/move >= ownShare || abs(move) > bothLeast && own/move >= 1-ownShare
}

// recover ends an illness: the difference is back in its usual range, or it has
// held still at a new one for days, which is then learned. Where a probe says that its
// container has run dry it is not: a dry container holds still, too, and with that for
// its offset it would say that all is well.
func (d *Drift) recover(dt float64, dry bool) {
	if d.Disagreeing && d.OffS == 0 || d.Drifting && d.DriftS == 0 {
		d.Drifting, d.Disagreeing, d.Dries = false, false, false
		return
	}
	now, within := d.Hour, max(calmWithin, 2*float64(d.Scatter))
	if d.Drifting { // what crept for days may go on creeping
		now, within = d.Day, calmWithin
	}
	if dry || abs(float64(now-d.CalmAt)) > within {
		d.CalmS, d.CalmAt = 0, now
		return
	}
	if d.CalmS += float32(dt); d.CalmS > calmForS {
		*d = Drift{Forgotten: !d.Dries} // what always counted keeps its offset
	}
}
