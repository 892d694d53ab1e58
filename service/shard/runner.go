package shard

import (
	"context"
	"sync"
	"time"
)

// maxPending bounds the inputs of one zone that wait for its goroutine, so
// that a flood of one zone costs the others nothing but its share of time.
const maxPending = 256

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
	r.pending[zone] = append(queue, input{telemetry: t})
	r.mu.Unlock()
	if full {
		r.shard.settings.Refused(zone, source, ReasonQueueFull)
	}
	r.wake()
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

// Control queues a message that must not be lost; it is acknowledged only
// after its effect is durable.
func (r *Runner) Control(zone int, c Control) {
	r.mu.Lock()
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
// and returns.
func (r *Runner) Run(ctx context.Context) {
	tick := time.NewTicker(r.every)
	defer tick.Stop()
	for {
		select {
		case <-r.poke:
			r.work()
		case <-tick.C:
			r.work()
			r.shard.Tick(r.now())
			r.shard.settings.Flush()
		case <-ctx.Done():
			r.work()
			r.shard.settings.Flush()
			return
		}
	}
}

// work steps all that is pending, in batches.
func (r *Runner) work() {
	for {
		n := 0
		for n < maxBatch {
			zone, queue, ok := r.take()
			if !ok {
				break
			}
			for i := range queue {
				if c := queue[i].control; c != nil {
					r.shard.Control(zone, *c)
				} else {
					r.shard.Telemetry(zone, queue[i].telemetry)
				}
			}
			n += len(queue)
			r.give(zone, queue)
		}
		if n == 0 {
			return
		}
		r.shard.settings.Flush()
	}
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

// give returns a queue's memory if nothing has come in since.
func (r *Runner) give(zone int, queue []input) {
	const keep = 16 // a larger one was a burst
	if cap(queue) > keep {
		return
	}
	clear(queue)
	r.mu.Lock()
	if r.pending[zone] == nil {
		r.pending[zone] = queue[:0]
	}
	r.mu.Unlock()
}
