package shard

import (
	"context"
	"sync"
	"time"

	"rhizostat/policy"
)

// maxPending bounds the inputs of one zone that wait for its goroutine, so
// that a flood of one zone costs the others nothing but its share of time.
const maxPending = 256

// maxControls bounds the messages of people of one zone that wait beside them; a
// broker keeps far fewer unacknowledged at a time (mosquitto: 20).
const maxControls = 1024

// maxBatch is how many inputs are stepped before what they decided is made
// durable and published.
const maxBatch = 2048

// Runner gives a Shard its goroutine and a bounded queue for each zone.
type Runner struct {
	shard *Shard
	every time.Duration
	now   func() time.Time

	mu      sync.Mutex
	pending [][]input // by zone
	ready   []int     // zones with something pending, in order of arrival
	spares  [][]input // memory of queues in which nothing is pending
	poke    chan struct{}
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
		pending: make([][]input, len(s.zones)),
		poke:    make(chan struct{}, 1),
	}
}

// Telemetry queues a reading and never blocks. When the zone's queue is full
// its oldest reading makes room and is counted.
func (r *Runner) Telemetry(zone int, t Telemetry) {
	r.mu.Lock()
	queue, source, full := r.pending[zone], 0, false
	if len(queue) >= maxPending {
		queue, source, full = dropOldest(queue)
	}
	if len(queue) == 0 {
		r.ready = append(r.ready, zone)
	}
	if queue == nil {
		queue = r.spare()
	}
	r.pending[zone] = append(queue, input{telemetry: t})
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

// dropOldest removes the first reading of a full queue; a person's message
// stays.
func dropOldest(queue []input) (rest []input, source int, dropped bool) {
	for i := range queue {
		if queue[i].control == nil {
			source = queue[i].telemetry.Source
			return append(queue[:i], queue[i+1:]...), source, true
		}
	}
	return queue, 0, false
}

// Control queues a message; it is acknowledged only after its effect is durable.
// A person's messages of one zone are bounded too: beyond that they are counted
// and left unacknowledged, so that a broker that keeps them sends them again.
func (r *Runner) Control(zone int, c Control) {
	r.mu.Lock()
	if len(r.pending[zone]) >= maxPending+maxControls && (c.Kind == Decision || c.Kind == Operator) {
		r.mu.Unlock()
		r.shard.settings.Refused(zone, policy.ZoneWide, ReasonQueueFull)
		return
	}
	if len(r.pending[zone]) == 0 {
		r.ready = append(r.ready, zone)
	}
	r.pending[zone] = append(r.pending[zone], input{control: &c})
	r.mu.Unlock()
	r.wake()
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
	for {
		select {
		case <-r.poke:
			if r.batch() {
				r.wake()
			}
		case <-tick.C:
			more := r.batch()
			r.shard.Tick(r.now())
			r.shard.settings.Flush()
			if more {
				r.wake()
			}
		case <-ctx.Done():
			r.finish()
			return
		}
	}
}

// finish processes what was queued when the end came: what goes on coming in
// meanwhile is given up, unacknowledged.
func (r *Runner) finish() {
	r.mu.Lock()
	left := len(r.ready)
	r.mu.Unlock()
	for range left {
		r.step()
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

// step steps all that is pending of the zone that has waited longest, and returns
// how much that was.
func (r *Runner) step() int {
	zone, queue, ok := r.take()
	if !ok {
		return 0
	}
	for i := range queue {
		if c := queue[i].control; c != nil {
			r.shard.Control(zone, *c)
		} else {
			r.shard.Telemetry(zone, queue[i].telemetry)
		}
	}
	r.give(queue)
	return len(queue)
}

// take empties the queue of the zone that has waited longest.
func (r *Runner) take() (int, []input, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.ready) == 0 {
		return 0, nil, false
	}
	zone := r.ready[0]
	r.ready = r.ready[1:]
	queue := r.pending[zone]
	r.pending[zone] = nil
	return zone, queue, true
}

// give returns a queue's memory for the next zone that has something pending: kept
// for each zone it would be as much as its desk.
func (r *Runner) give(queue []input) {
	if cap(queue) > maxSpareSize {
		return
	}
	clear(queue)
	r.mu.Lock()
	if len(r.spares) < maxSpares {
		r.spares = append(r.spares, queue[:0])
	}
	r.mu.Unlock()
}
