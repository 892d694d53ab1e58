package service

import (
	"fmt"
	"hash/maphash"
	"runtime/debug"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
	"rhizostat/service/desk"
	"rhizostat/service/intake"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// snapshotEvery is how much engine time of a zone a kill may cost: what was
// learned since the last snapshot is learned again, what was decided is never
// lost.
const snapshotEvery = 5 * time.Minute

// worker joins one zone's engine, desk and publications. It belongs to the
// goroutine of its shard. Between two flushes it works on a copy of its desk:
// if the ledger fails, the copy is thrown away.
type worker struct {
	house    *house
	lot      *lot
	site     int
	zone     int // in the house
	index    int // in the shard
	topics   wire.Topics
	settings *policy.Settings // the site file's and the environment's
	rules    *desk.Rules
	engine   *policy.Zone
	desk     *desk.Desk

	now     time.Time
	wake    time.Time         // the engine wants to be stepped then
	due     time.Time         // the desk has something to do then
	pending *work             // since the last flush, nil: nothing has touched it
	behind  []policy.Approval // of before the restart, that the engine must be told
	lost    bool              // so is that the advice issued last is on no record that can be read
	leftOut *advice.Reason    // what the ledger has of the zone and nobody can read, nil: nothing
	aside   error             // why the zone is set aside: its engine broke a promise

	published published // what stands on the retained topics
	inForce   string    // id of the advice whose setpoints stand
	commands  []command // the same for outputs, which keep nothing
	savedAt   time.Time // of the last snapshot
	snapshots int       // taken so far
	point     pointSource
	newest    tally // of the last state
	durable   tally // of the last snapshot that is on record: what may be exposed

	savedTotals     bool // the last snapshot has totals
	savedSnapshot   int  // its number
	durableSnapshot int  // the number of the last snapshot that is on record
}

// work is what a worker has to make durable and to publish at the next flush.
type work struct {
	before    *desk.Desk // the desk as it is on record, nil while it has not changed
	changes   wire.Changes
	issued    []advice.Action // of the advice proposed since
	events    []ledger.EventRow
	points    []ledger.Point
	forecasts []ledger.Forecast // that a report will tell
	outcomes  []answered
	acks      []func()
	told      []func() // acknowledge the events, once these are on record
	state     *policy.State
	forecast  *policy.Forecast
	resync    bool
	reborn    bool      // an output was
	heard     time.Time // when the link said so
	readBack  []readBack
	saves     bool // a snapshot goes with it
}

type answered struct {
	outcome desk.Outcome
	at      time.Time
}

type readBack struct {
	topic string
	hash  uint64
}

// touch puts the worker on its shard's list for the next flush.
func (w *worker) touch() {
	if w.pending == nil {
		w.pending = w.lot.work()
		w.lot.touched = append(w.lot.touched, w)
	}
}

// shared is what the engine of the zone has in common with others.
func (w *worker) shared() policy.Shared {
	return policy.Shared{Shelf: w.lot.shelf, Scratch: &w.lot.scratch}
}

// Step lets the engine take an event and passes on what it asks for.
func (w *worker) Step(e policy.Event) {
	w.now = e.At
	w.touch()
	w.catchUp()
	w.deskTick()
	w.commandsDue()
	w.step(e)
	w.settle()
}

func (w *worker) step(e policy.Event) {
	if w.aside != nil {
		return
	}
	out, ok := w.guarded(e)
	if !ok {
		return
	}
	w.wake = out.NextWake
	for range out.OldContainer {
		w.house.metrics.Refused(string(intake.OldContainer))
	}
	for _, share := range out.Drybacks {
		w.house.metrics.Dryback(w.settings.Site, share)
	}
	if out.State != nil {
		w.pending.state = out.State
		w.newest = tally{out.State.Totals, true}
		w.notePoint(out.State)
		if watch := w.house.watch; watch.of(w) { // not at the flush, which has the last of several
			watch.state(out.State)
		}
	}
	if out.Forecast != nil {
		if watch := w.house.watch; watch.of(w) {
			watch.forecast(out.Forecast)
		}
		if w.pending.forecast == nil {
			w.lot.forecasts++
		}
		w.pending.forecast = out.Forecast
		w.noteForecast(out.Forecast)
	}
	if out.Advice != nil {
		w.propose(out.Advice)
	}
	if out.Over != "" {
		w.copyDesk()
		w.moved(w.desk.Over(out.Over, w.now))
	}
}

// guarded steps the engine; a broken promise in it sets this zone aside and no
// other.
func (w *worker) guarded(e policy.Event) (out policy.Output, ok bool) {
	defer func() {
		if fault := recover(); fault != nil {
			w.setAside(fmt.Errorf("the engine stopped: %v", fault), "event", fmt.Sprintf("%+v", e), "stack", string(debug.Stack()))
		}
	}()
	return w.engine.Step(e), true
}

// setAside goes on without an engine: what is approved ends in time, and a person
// may withdraw it.
func (w *worker) setAside(why error, about ...any) {
	w.aside = why
	w.house.log.Error("zone set aside", append([]any{"site", w.settings.Site, "zone", w.settings.Zone, "error", why}, about...)...)
	w.sayAside()
}

// sayAside lets the state say that nothing is known of the zone any more: a water
// content that nobody measures would be taken for a trigger.
func (w *worker) sayAside() {
	last := &policy.State{Time: w.now}
	for i := range w.settings.Probes {
		last.Probes = append(last.Probes, policy.ProbeState{ID: w.settings.Probes[i].ID, Health: sensing.Stale.String()})
	}
	w.pending.state, w.pending.forecast = last, nil
}

// asideEvery is how often a zone that was set aside looks at what is approved:
// a move that the ledger did not take is tried again then.
const asideEvery = time.Minute

// settle sets when the shard must step this zone next: for the engine or for
// the desk, whichever is sooner. An engine that has not been stepped since it was
// restored has not said when: what the shard has of before the restart stays.
func (w *worker) settle() {
	w.due = w.desk.NextDue(w.now)
	due := sooner(w.due, w.commandsNext())
	next := w.wake
	if next.IsZero() {
		next = w.lot.shard.Wake(w.index)
	}
	if w.aside != nil {
		next = w.now.Add(asideEvery)
	}
	w.lot.shard.WakeAt(w.index, sooner(next, due))
}

// sooner is the earlier of two times that may be zero for never.
func sooner(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

// copyDesk makes the running desk a copy, once between two flushes.
func (w *worker) copyDesk() {
	if w.pending.before == nil {
		w.pending.before = w.desk
		w.desk = w.desk.Clone()
	}
}

func (w *worker) propose(a *advice.Advice) {
	w.copyDesk()
	changes, err := w.desk.Propose(a, w.now)
	if err != nil {
		w.house.log.Error("advice was not taken", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		w.step(policy.Event{Kind: policy.Unrecorded, At: w.now})
		return
	}
	w.pending.issued = append(w.pending.issued, a.Action)
	w.moved(changes)
}

// deskTick lets time pass at the desk, when something is due there.
func (w *worker) deskTick() {
	if w.due.IsZero() || w.due.After(w.now) {
		return
	}
	w.copyDesk()
	w.moved(w.desk.Tick(w.now))
}

// moved keeps what the desk changed and tells the engine.
func (w *worker) moved(changes wire.Changes) {
	w.pending.changes.Add(changes)
	if w.aside != nil && len(changes.Moves) > 0 {
		w.sayAside() // with what waits for a person now
	}
	for i := range changes.Moves {
		approval := changes.Moves[i].Approval()
		w.step(policy.Event{Kind: policy.Approved, At: w.now, Approval: &approval})
	}
}

// Control takes a person's message, or what the link found on the broker.
func (w *worker) Control(c shard.Control, now time.Time) {
	w.now = now
	w.touch()
	w.catchUp()
	switch c.Kind {
	case shard.Decision:
		w.decide(c)
	case shard.Operator:
		w.operate(c)
	case shard.ReadBack:
		w.pending.readBack = append(w.pending.readBack, readBack{c.Topic, maphash.Bytes(seed, c.Payload)})
	case shard.Resync:
		w.pending.resync, w.pending.heard = true, c.Time
	case shard.Reborn:
		w.pending.heard = c.Time
		w.reborn(c.Topic)
	}
	switch {
	case c.Ack == nil:
	case c.Kind == shard.Operator:
		w.pending.told = append(w.pending.told, c.Ack)
	default:
		w.pending.acks = append(w.pending.acks, c.Ack)
	}
	w.settle()
}

func (w *worker) decide(c shard.Control) {
	w.copyDesk()
	undecided := w.desk.Clone()
	outcome := w.desk.Decide(c.Payload, w.now)
	if w.aside != nil && !outcome.Repeated && outcome.Result.Result == wire.Accepted && outcome.Decision.Decision == wire.Approve {
		w.desk = undecided // and not the desk on record: earlier moves of this lot stand
		outcome = desk.Outcome{Decision: outcome.Decision, Result: wire.Refuse(outcome.Decision,
			advice.Refuse("not-allowed-set-aside", advice.Name(w.settings.Zone)), w.now)}
	}
	w.pending.outcomes = append(w.pending.outcomes, answered{outcome, w.now})
	w.moved(outcome.Changes)
}

// Restart forgets an engine whose time came from a wrong clock.
func (w *worker) Restart(at time.Time) {
	engine, err := policy.NewShared(w.settings, w.shared())
	if err != nil {
		// the same settings made the engine that is being replaced
		w.touch()
		w.setAside(err)
		return
	}
	w.house.log.Warn("zone starts anew: its time came from a wrong clock", "site", w.settings.Site, "zone", w.settings.Zone, "time", at)
	w.engine = engine
	w.wake, w.savedAt, w.savedTotals, w.savedSnapshot = time.Time{}, time.Time{}, false, 0
	w.point, w.newest, w.durable = pointSource{}, tally{}, tally{}
}

// revert goes back to what is on record after the ledger failed, and tells the
// engine.
func (w *worker) revert() {
	p := w.pending
	if p.before == nil {
		return
	}
	failed := p.changes
	w.desk = p.before
	w.due = w.now // what time moved is moved again at the next step
	*p = work{
		outcomes: p.outcomes, acks: p.acks, state: p.state,
		events: p.events, told: p.told, points: p.points, forecasts: p.forecasts, readBack: p.readBack, resync: p.resync, reborn: p.reborn, heard: p.heard,
	}
	for i := len(failed.Moves) - 1; i >= 0; i-- {
		m := &failed.Moves[i]
		if m.From == "" {
			w.step(policy.Event{Kind: policy.Unrecorded, At: w.now})
			continue
		}
		w.step(policy.Event{Kind: policy.Approved, At: w.now, Approval: &policy.Approval{Advice: m.Advice, State: m.From}})
	}
}
