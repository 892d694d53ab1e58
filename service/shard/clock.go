package shard

import (
	"time"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// Mode says where a zone's engine time comes from.
type Mode uint8

// The two modes: the machine's clock, or the stamps of the accepted telemetry.
const (
	Wall Mode = iota
	FromTelemetry
)

const (
	// wallAhead is how far ahead of the machine's clock a reading may be
	// stamped in wall mode: clocks of field devices differ by that much
	// (common practice, no source).
	wallAhead = 5 * time.Minute
	// inARow is how many readings of one source in a row are as good as a
	// second witness.
	inARow = 5
)

// clock keeps the engine time of one zone. In the telemetry clock it is the
// newest accepted stamp of the zone and its climate, so one wrong stamp must
// not be accepted: it could never be taken back.
type clock struct {
	settings *Settings // of its shard

	now  time.Time // engine time
	last time.Time // of the last step; never goes back

	confirmed bool // more than one witness has set the time
	first     int  // the source that set it
	older     int  // readings in a row that say the time is much earlier
	agreeing  int  // readings in a row that agree

	suspect suspect
	seen    seen
	strikes []uint8 // misdated readings in a row by source
}

// suspect is a stamp far ahead that waits for a witness.
type suspect struct {
	source int
	at     time.Time
	count  int
}

func newClock(s *Settings, probes int, at time.Time) clock {
	return clock{settings: s, now: at, last: at, confirmed: !at.IsZero(), strikes: make([]uint8, probes+2)}
}

// verdict is what became of a reading: refused for a reason, and whether its
// source's clock is to blame.
type verdict struct {
	reason   string
	misdated bool
	restart  bool // the time so far rested on one wrong clock
}

// admit decides on a reading and moves the engine time. Signals that were seen
// with this stamp or a later one are dropped from it.
func (c *clock) admit(t *Telemetry) verdict {
	v := c.admitStamp(t)
	slot := slot(t.Source)
	if v.reason != "" {
		if c.strikes[slot] < inARow {
			c.strikes[slot]++
		}
		// one late reading is the network's doing; several are the clock's
		v.misdated = v.reason == ReasonFuture || c.strikes[slot] >= inARow
		return v
	}
	c.strikes[slot] = 0
	if reason := c.drop(t, slot); reason != "" {
		v.reason = reason
	}
	return v
}

func (c *clock) admitStamp(t *Telemetry) verdict {
	if c.settings.Mode == Wall {
		c.now = later(c.now, t.Arrived)
		switch {
		case t.At.After(t.Arrived.Add(wallAhead)):
			return verdict{reason: ReasonFuture}
		case t.At.Before(t.Arrived.Add(-c.settings.Late)):
			return verdict{reason: ReasonLate}
		}
		if t.At.After(c.now) {
			t.At = c.now
		}
		return verdict{}
	}
	switch {
	case c.now.IsZero():
		c.now, c.first, c.confirmed = t.At, t.Source, false
		return verdict{}
	case t.At.After(c.now.Add(c.settings.Ahead)):
		return c.fromTheFuture(t)
	case t.At.Before(c.now.Add(-c.settings.Late)):
		return c.tooLate(t)
	}
	c.agree(t)
	c.now = later(c.now, t.At)
	return verdict{}
}

// agree notes that a reading fits the time. One that takes the time on speaks
// against a stamp far ahead: in a true jump nobody goes on in the old time.
func (c *clock) agree(t *Telemetry) {
	if c.confirmed {
		if c.suspect.source == t.Source || t.At.After(c.now) {
			c.suspect = suspect{}
		}
		return
	}
	c.older = 0
	c.agreeing++
	if t.Source != c.first || c.agreeing >= inARow-1 {
		c.confirmed = true
	}
}

// fromTheFuture accepts a stamp far ahead only with a second source, or five
// in a row of one, that say the same while no source goes on in the old time: one
// clock that is hours ahead must not take the time from all that are right.
func (c *clock) fromTheFuture(t *Telemetry) verdict {
	s := &c.suspect
	near := s.count > 0 && t.At.Sub(s.at).Abs() <= c.settings.Ahead
	switch {
	case near && t.Source != s.source, near && s.count+1 >= inARow:
		c.now, c.confirmed, *s = t.At, true, suspect{}
		return verdict{}
	case near:
		s.count++
		s.at = t.At
	default:
		*s = suspect{source: t.Source, at: t.At, count: 1}
	}
	return verdict{reason: ReasonFuture}
}

// tooLate refuses; while the time rests on one source alone, two readings in a
// row of others that say it is much earlier overrule it.
func (c *clock) tooLate(t *Telemetry) verdict {
	if c.confirmed || t.Source == c.first || !t.At.Before(c.now.Add(-c.settings.Ahead)) {
		return verdict{reason: ReasonLate}
	}
	if c.older++; c.older < 2 {
		return verdict{reason: ReasonLate}
	}
	c.restart(t.At)
	c.first = t.Source
	return verdict{restart: true}
}

// restart goes on from an earlier time, for an engine that has seen nothing.
func (c *clock) restart(at time.Time) {
	c.now, c.last, c.older, c.agreeing = at, time.Time{}, 0, 0
	c.seen = nil
}

// drop removes the signals of a reading that are not newer than what was seen
// of them, and gives the reason when none is left.
func (c *clock) drop(t *Telemetry, slot int) string {
	at := t.At.UnixMilli()
	reason := ReasonDoubled
	for i := range sensing.SignalCount {
		s := sensing.Signal(i)
		if !t.Values.Has(s) {
			continue
		}
		newest := c.seen.newest(slot, s)
		if at > newest {
			continue
		}
		if at < newest {
			reason = ReasonLate
		}
		t.Values.Drop(s)
	}
	if t.Values.Empty() {
		return reason
	}
	return ""
}

// took notes the signals of a reading that is stepped now, so that a double or
// an older one is known.
func (c *clock) took(t *Telemetry) {
	at := t.At.UnixMilli()
	for i := range sensing.SignalCount {
		if s := sensing.Signal(i); t.Values.Has(s) {
			c.seen.take(slot(t.Source), s, at)
		}
	}
}

// witness lets a person's message advance the telemetry clock, within reason. Of a
// zone without any time it sets it, until readings say otherwise.
func (c *clock) witness(at time.Time) {
	if c.now.IsZero() && !at.IsZero() {
		c.now, c.first, c.confirmed = at.Truncate(time.Millisecond), policy.ZoneWide, false
		return
	}
	if !c.now.IsZero() && at.After(c.now) && !at.After(c.now.Add(c.settings.Ahead)) {
		c.now = at
	}
}

// stepped gives the engine time of a step at at: never before the last one.
func (c *clock) stepped(at time.Time) time.Time {
	c.last = later(c.last, at)
	return c.last
}

// slot is where a source's bookkeeping stands.
func slot(source int) int {
	switch source {
	case policy.ZoneWide:
		return 0
	case policy.Climate:
		return 1
	}
	return source + 2
}

// sourceAt is the source whose bookkeeping stands at a slot.
func sourceAt(slot int) int {
	switch slot {
	case 0:
		return policy.ZoneWide
	case 1:
		return policy.Climate
	}
	return slot - 2
}
