package shard

import (
	"context"
	"sync"
	"time"

	"rhizostat/policy"
)

// maxPending bounds the readings of one zone that wait for its goroutine in the
// wall clock. One pack may bring the readings of days; beyond that it is a flood,
// and costs the other zones nothing but its share of time.
const maxPending = 4096

// crowd is how many readings may wait in all before more of them should be held
// back, where none is dropped (common practice, no source).
const crowd = 16384

// maxTurn bounds the inputs of one zone that are stepped before the next zone has
// its turn.
const maxTurn = 256

// maxControls bounds the messages of people of one zone that wait beside them; a
// broker keeps far fewer unacknowledged at a time (mosquitto: 20).
const maxControls = 1024

// maxBatch is how many inputs are stepped before what they decided is made
// durable and published.
const maxBatch = 2048

// quiet is how long nothing must have come of a zone, twice that at most, for what waits
// to be put in order to wait no longer, in the telemetry clock (common practice, no
// source). A gateway sends what it has read together within less.
const quiet = 15 * time.Millisecond

// Runner gives a Shard its goroutine and a bounded queue for each zone.
type Runner struct {
	shard *Shard
	every time.Duration
	now   func() time.Time

	mu      sync.Mutex
	pending []queue   // by zone
	ready   []int     // zones with something pending, in order of arrival
	waiting int       // readings, of all zones
	spares  [][]input // memory of queues in which nothing is pending
	poke    chan struct{}
}

// queue is what waits for a zone.
type queue struct {
	inputs   []input
	controls int                 // what is no reading among them
	births   map[string]struct{} // the topics of births among the controls
	cut      bool                // inputs may begin in the middle of their memory
}

// input is one of the two things that can wait for a zone.
type input struct {
	telemetry Telemetry
	control   *Control
}

// NewRunner makes a runner of a shard whose zones have all been added. Every
// is the time between ticks; now is the machine's clock.
func NewRunner(s *Shard, every time.Duration, now func() time.Time) *Runner {
	return &Runner{
		shard: s, every: every, now: now,
		pending: make([]queue, len(s.zones)),
		poke:    make(chan struct{}, 1),
	}
}

// Telemetry queues a reading and never blocks. When the zone's queue is full its
// oldest reading makes room and is counted; in the telemetry clock, which readings
// may come to as fast as anybody can send them, none is dropped: see Crowded.
func (r *Runner) Telemetry(zone int, t Telemetry) {
	r.mu.Lock()
	q, source, full := &r.pending[zone], 0, false
	if r.shard.settings.Mode == Wall && len(q.inputs)-q.controls >= maxPending {
		source, full = q.dropOldest()
		r.waiting--
	}
	r.add(zone, input{telemetry: t})
	r.waiting++
	r.mu.Unlock()
	if full {
		r.shard.settings.Refused(zone, source, ReasonQueueFull)
	}
	r.wake()
}

// spare gives memory for a queue, nil when there is none; mu is held.
func (r *Runner) spare() []input {
	if len(r.spares) == 0 {
		return nil
	}
	last := len(r.spares) - 1
	out := r.spares[last]
	r.spares = r.spares[:last]
	return out
}

// Crowded reports whether so many readings wait that whoever brings them should
// pause.
func (r *Runner) Crowded() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.waiting >= crowd
}

// add puts an input behind what waits for its zone.
func (r *Runner) add(zone int, in input) {
	q := &r.pending[zone]
	if len(q.inputs) == 0 {
		r.ready = append(r.ready, zone)
	}
	if q.inputs == nil {
		q.inputs = r.spare()
	}
	q.inputs = append(q.inputs, in)
}

// dropOldest removes the first reading; a person's message stays.
func (q *queue) dropOldest() (source int, dropped bool) {
	for i := range q.inputs {
		if q.inputs[i].control != nil {
			continue
		}
		source = q.inputs[i].telemetry.Source
		copy(q.inputs[1:], q.inputs[:i]) // not all that comes behind it, reading by reading of a flood
		q.inputs, q.cut = q.inputs[1:], true
		return source, true
	}
	return 0, false
}

// Control queues a message; it is acknowledged only after its effect is durable.
// A person's messages of one zone are bounded too: beyond that they are counted
// and left unacknowledged, so that a broker that keeps them sends them again. Births,
// which edge nodes may send as they like, take no room of theirs: one that waits stands
// for all of its topic that come after it, for what is told then is told once.
func (r *Runner) Control(zone int, c Control) {
	r.mu.Lock()
	q := &r.pending[zone]
	if c.Kind == Reborn && !q.bear(c.Topic) {
		r.mu.Unlock()
		return
	}
	if q.controls-len(q.births) >= maxControls && (c.Kind == Decision || c.Kind == Operator) {
		r.mu.Unlock()
		r.shard.settings.Refused(zone, policy.ZoneWide, ReasonQueueFull)
		return
	}
	r.add(zone, input{control: &c})
	q.controls++
	r.mu.Unlock()
	r.wake()
}

// bear notes a birth, and reports whether none of its topic waits yet.
func (q *queue) bear(topic string) bool {
	if _, waits := q.births[topic]; waits {
		return false
	}
	if q.births == nil {
		q.births = map[string]struct{}{}
	}
	q.births[topic] = struct{}{}
	return true
}

func (r *Runner) wake() {
	select {
	case r.poke <- struct{}{}:
	default: // it is awake already
	}
}

// Run steps the zones until ctx ends, then processes what is queued, flushes
// and returns. However much is queued, time passes and what was decided is
// published between two batches.
func (r *Runner) Run(ctx context.Context) {
	tick := time.NewTicker(r.every)
	defer tick.Stop()
	var settle <-chan time.Time
	for {
		if ctx.Err() != nil { // a flood always has something ready, and select takes either
			r.finish()
			return
		}
		select {
		case <-r.poke:
			if r.batch() {
				r.wake()
			}
			if settle == nil && len(r.shard.held) > 0 {
				settle = time.After(quiet)
			}
		case <-settle:
			settle = nil
			if r.shard.Settle() {
				settle = time.After(quiet)
			}
			r.shard.settings.Flush()
		case <-tick.C:
			more := r.batch()
			r.shard.Tick(r.now())
			r.shard.settings.Flush()
			if more {
				r.wake()
			}
		case <-ctx.Done():
		}
	}
}

// finish processes what was queued when the end came: what goes on coming in
// meanwhile is given up, unacknowledged.
func (r *Runner) finish() {
	r.mu.Lock()
	left := 0
	for _, zone := range r.ready {
		left += len(r.pending[zone].inputs)
	}
	r.mu.Unlock()
	for left > 0 {
		stepped := r.step()
		if stepped == 0 {
			break
		}
		left -= stepped
	}
	r.shard.settings.Flush()
}

// batch steps what is pending, up to a bound, makes it durable and publishes it.
// It reports whether more is pending.
func (r *Runner) batch() bool {
	n := 0
	for n < maxBatch {
		stepped := r.step()
		if stepped == 0 {
			break
		}
		n += stepped
		r.shard.flushFull()
	}
	if n > 0 {
		r.shard.settings.Flush()
	}
	return n >= maxBatch
}

// step steps what is pending of the zone that has waited longest, up to its turn,
// and returns how much that was.
func (r *Runner) step() int {
	zone, inputs, whole := r.take()
	for i := range inputs {
		if c := inputs[i].control; c != nil {
			r.shard.Control(zone, *c)
		} else {
			r.shard.Telemetry(zone, inputs[i].telemetry)
		}
	}
	if whole {
		r.give(inputs)
	}
	return len(inputs)
}

// take takes its turn out of the queue of the zone that has waited longest, which
// lines up again with the rest; nothing where none waits. Whole says that the inputs
// are all of their memory, with its room: of a part, the rest would be kept with it.
func (r *Runner) take() (zone int, inputs []input, whole bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.ready) == 0 {
		return 0, nil, false
	}
	zone = r.ready[0]
	r.ready = r.ready[1:]
	q := &r.pending[zone]
	if len(q.inputs) <= maxTurn {
		inputs, whole = q.inputs, !q.cut
		q.inputs, q.cut = nil, false
	} else {
		inputs = q.inputs[:maxTurn:maxTurn]
		q.inputs, q.cut = q.inputs[maxTurn:], true
		r.ready = append(r.ready, zone)
	}
	for i := range inputs {
		c := inputs[i].control
		if c == nil {
			r.waiting--
			continue
		}
		q.controls--
		if c.Kind == Reborn {
			delete(q.births, c.Topic)
		}
	}
	return zone, inputs, whole
}

// give returns a queue's memory for the next zone that has something pending: kept
// for each zone it would be as much as its desk.
func (r *Runner) give(inputs []input) {
	if cap(inputs) > maxSpareSize {
		return
	}
	clear(inputs)
	r.mu.Lock()
	if len(r.spares) < maxSpares {
		r.spares = append(r.spares, inputs[:0])
	}
	r.mu.Unlock()
}
