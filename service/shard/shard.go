// Package shard gives every zone one goroutine that owns it. It puts late
// messages in order, keeps each zone's time, and steps zones in batches, so
// that one durable write serves all that a batch has decided. It knows nothing
// of water, approvals or topics: what a zone does with an event is its Worker.
package shard

import (
	"time"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// Worker is one zone's work. Its methods are called by the goroutine that owns
// the zone, one at a time, with times that never go back.
type Worker interface {
	// Step lets the engine take one event.
	Step(e policy.Event)
	// Control takes what a person or the link said to the zone.
	Control(c Control, now time.Time)
	// Restart forgets the engine: its time came from a wrong clock.
	Restart(at time.Time)
}

// Control is a message that is not telemetry.
type Control struct {
	Kind    ControlKind
	Topic   string
	Payload []byte
	Time    time.Time // its arrival, or the recording's stamp
	Said    time.Time // the message's own time; zero: it has none
	Ack     func()    // tells the broker that it is safe; nil in a replay
}

// ControlKind says what a Control is.
type ControlKind uint8

// The kinds of Control.
const (
	Decision ControlKind = iota // a person's decision on an advice
	Operator                    // something a person did
	ReadBack                    // a retained output as the broker has it
	Resync                      // a new connection: publish what must stand
	Reborn                      // what takes commands on the topic has been born: tell it again
)

// Telemetry is what one source measured, decoded and in base units.
type Telemetry struct {
	Source  int       // a probe's index, policy.ZoneWide or policy.Climate
	At      time.Time // the reading's own time; zero: it has none
	Arrived time.Time
	Values  sensing.Values
}

// Reasons for which a shard refuses a reading; the closed set of labels is the
// intake's.
const (
	ReasonLate      = "late"
	ReasonDoubled   = "doubled"
	ReasonFuture    = "from-the-future"
	ReasonQueueFull = "queue-full"
)

// Settings of a shard.
type Settings struct {
	Mode  Mode
	Hold  time.Duration // how long a reading waits for earlier ones, in engine time
	Late  time.Duration // older than engine time by more is refused
	Ahead time.Duration // newer than engine time by more needs a second witness
	// Elapsed is the time since any one moment by a counter that nobody sets,
	// which the machine's clock is held against in wall mode; nil: that clock is
	// believed.
	Elapsed func() time.Duration
	// Flush is called after each batch and makes what its zones decided
	// durable, then publishes.
	Flush func()
	// Full, when given, says that what was decided since the last Flush takes much
	// memory: it is flushed before another zone is stepped.
	Full func() bool
	// Refused counts a reading that was not taken.
	Refused func(zone int, source int, reason string)
}

// Defaults for a shard: two minutes to put readings in order, a quarter of an
// hour after which one is too late, an hour ahead that needs a witness.
const (
	DefaultHold  = 2 * time.Minute
	DefaultLate  = 15 * time.Minute
	DefaultAhead = time.Hour
)

// Shard holds the zones of one goroutine. Its methods are for that goroutine
// only; a Runner gives it one.
type Shard struct {
	settings Settings
	zones    []*zone
	machine  machine // the machine's clock, in wall mode
	spares   spares
	held     []int // zones with readings that may wait to be put in order, in the telemetry clock
	round    int   // of Settle
}

type zone struct {
	worker Worker
	probes []string // ids by index, nil: not named
	clock  clock
	order  buffer
	wake   time.Time // the engine wants to be stepped then
	held   bool      // it is among those of the shard
	heard  int       // the round in which it was heard of last
	astray time.Time // since when the zone has been far ahead of the machine's clock, zero: it is not
}

// New makes an empty shard.
func New(s Settings) *Shard { return &Shard{settings: s, machine: machine{elapsed: s.Elapsed}} }

// Add gives the shard a zone and returns its index. At is the engine time it
// goes on from, zero for a new one; probes is the number of its probes.
func (s *Shard) Add(w Worker, probes int, at time.Time) int {
	s.zones = append(s.zones, &zone{worker: w, clock: newClock(&s.settings, probes, at), order: buffer{spares: &s.spares}})
	return len(s.zones) - 1
}

// Name gives a zone's probes their ids, by index: a snapshot that outlives a change
// of the site file is taken back by them.
func (s *Shard) Name(index int, probes []string) { s.zones[index].probes = probes }

// Resume lets a zone go on from an engine time without anything else of before:
// its snapshot could not be read.
func (s *Shard) Resume(index int, at time.Time) {
	z := s.zones[index]
	z.clock.now, z.clock.last, z.clock.confirmed = at, at, true
	z.wake = at
}

// Zones is the number of zones.
func (s *Shard) Zones() int { return len(s.zones) }

// WakeAt sets when the engine of a zone wants to be stepped next.
func (s *Shard) WakeAt(zone int, at time.Time) { s.zones[zone].wake = at }

// Wake is when the engine of a zone wants to be stepped next, zero when it has not
// said.
func (s *Shard) Wake(zone int) time.Time { return s.zones[zone].wake }

// Now is the engine time of a zone, zero before its first reading.
func (s *Shard) Now(zone int) time.Time { return s.zones[zone].clock.now }

// Telemetry takes one reading of a zone.
func (s *Shard) Telemetry(index int, t Telemetry) {
	z := s.zones[index]
	if t.At.IsZero() {
		t.At = t.Arrived
	}
	if s.settings.Mode == Wall {
		s.machine.restamp(&t)
	} else {
		s.hears(index)
	}
	t.At = t.At.Truncate(time.Millisecond) // what a snapshot keeps
	verdict := z.clock.admit(&t)
	if verdict.restart {
		z.order.clear()
		z.worker.Restart(t.At)
		z.wake = time.Time{}
	}
	if verdict.reason != "" {
		s.settings.Refused(index, t.Source, verdict.reason)
		if verdict.misdated && !z.clock.last.IsZero() {
			s.step(z, policy.Event{Kind: policy.Misdated, At: z.clock.last, Source: t.Source})
		}
		return
	}
	if !z.order.push(t) {
		s.settings.Refused(index, t.Source, ReasonDoubled)
		return
	}
	s.release(z, z.clock.now.Add(-s.settings.Hold))
}

// Control takes one message for a zone; what was read before it is processed
// first, so that a person's word meets the state it was said about. Nothing of the
// zone is stepped at an earlier time after it.
func (s *Shard) Control(index int, c Control) {
	z := s.zones[index]
	switch {
	case s.settings.Mode == Wall:
		z.clock.now = later(z.clock.now, s.machine.arrived(c.Time))
	case c.Kind == Decision || c.Kind == Operator:
		said := c.Said
		if said.IsZero() {
			said = c.Time
		}
		z.clock.witness(said)
	}
	s.drain(z)
	now := z.clock.now
	if !now.IsZero() {
		if s.settings.Mode == Wall && z.clock.last.IsZero() {
			z.wake = now // as at its first Tick, which it is no more after this
		}
		now = z.clock.stepped(now)
	}
	z.worker.Control(c, now)
}

// Tick lets time pass to now in wall mode and releases all that has waited
// long enough; in the telemetry clock it releases everything.
func (s *Shard) Tick(now time.Time) {
	if s.settings.Mode == Wall {
		now = s.machine.tick(now)
	}
	for _, z := range s.zones {
		if s.settings.Mode == Wall {
			if s.isAstray(z, now) {
				z.clock.restart(now)
				z.order.clear()
				z.worker.Restart(now)
			}
			z.clock.now = later(z.clock.now, now)
			s.release(z, now.Add(-s.settings.Hold))
			if z.clock.last.IsZero() {
				z.wake, z.clock.last = now, now // a zone that nobody has heard of yet says so
			}
			s.catchUp(z, now) // time passes without readings too
		} else {
			s.drain(z)
		}
		s.flushFull()
	}
}

// hears notes that a zone has readings that may wait to be put in order.
func (s *Shard) hears(index int) {
	z := s.zones[index]
	z.heard = s.round
	if !z.held {
		z.held = true
		s.held = append(s.held, index)
	}
}

// Settle releases all of the zones of which nothing has come since the last Settle, and
// reports whether others wait. It is for the telemetry clock, in which nobody knows what
// is still to come: what belongs together comes together, and what comes after a pause
// is not waited for.
func (s *Shard) Settle() (more bool) {
	waits := s.held[:0]
	for _, index := range s.held {
		z := s.zones[index]
		if z.heard == s.round {
			waits = append(waits, index)
			continue
		}
		z.held = false
		s.drain(z)
		s.flushFull()
	}
	s.held = waits
	s.round++
	return len(s.held) > 0
}

// flushFull flushes what takes much memory by now.
func (s *Shard) flushFull() {
	if s.settings.Full != nil && s.settings.Full() {
		s.settings.Flush()
	}
}

// isAstray tells whether a zone's time is far ahead of the machine's clock and
// has been for a while: it was set by a clock that has been put right since,
// maybe before a restart, and would stand still until the true time has caught
// up. One that is ahead by less waits: it costs less than all that was learned.
func (s *Shard) isAstray(z *zone, now time.Time) bool {
	if !later(z.clock.now, z.clock.last).After(now.Add(s.settings.Ahead)) {
		z.astray = time.Time{}
		return false
	}
	if z.astray.IsZero() || now.Before(z.astray) {
		z.astray = now
	}
	return now.Sub(z.astray) >= steadyFor
}

// DrainAll processes everything that is waiting to be put in order.
func (s *Shard) DrainAll() {
	for _, z := range s.zones {
		s.drain(z)
	}
}

// drain processes everything of one zone.
func (s *Shard) drain(z *zone) { s.release(z, z.clock.now) }

// release steps the readings stamped at or before until, in time order, and
// the engine's wake-ups between them. A wake-up at a reading's own stamp comes
// after it, so that what is published for an instant knows all that was
// measured then.
func (s *Shard) release(z *zone, until time.Time) {
	for {
		t, ok := z.order.pop(until)
		if !ok {
			break
		}
		z.clock.took(&t)
		at := later(z.clock.last, t.At)
		s.wakes(z, at.Add(-time.Millisecond))
		s.step(z, policy.Event{Kind: policy.Reading, At: z.clock.stepped(at), Stamp: t.At, Source: t.Source, Values: t.Values})
	}
	s.catchUp(z, until)
}

// catchUp lets the engine's own wake-ups up to now happen.
func (s *Shard) catchUp(z *zone, now time.Time) {
	if !z.clock.last.IsZero() && !now.Before(z.clock.last) {
		s.wakes(z, now)
	}
}

// maxWakes bounds the wake-ups of one jump in time: a gap of a month is not
// lived through minute by minute.
const maxWakes = 4096

func (s *Shard) wakes(z *zone, until time.Time) {
	for range maxWakes {
		if z.wake.IsZero() || z.wake.After(until) {
			return
		}
		at := z.clock.stepped(z.wake)
		z.wake = time.Time{}
		s.step(z, policy.Event{Kind: policy.Wake, At: at})
	}
	z.wake = until
}

func (s *Shard) step(z *zone, e policy.Event) { z.worker.Step(e) }

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
