package link

import (
	"context"
	"sync"
)

// acks sends acknowledgements in a goroutine of its own. The library hands each to
// its writer and waits: a broker that takes nothing would hold whoever acknowledges
// until the write times out, and with it all zones of a shard. The zero value is
// ready. One of a connection that has ended says nothing any more; the broker sends
// its message again.
type acks struct {
	mu      sync.Mutex
	waiting []func() // as many as a broker keeps unacknowledged at a time, at most
	sending bool
	poke    chan struct{}
}

func newAcks() *acks { return &acks{poke: make(chan struct{}, 1)} }

// put queues an acknowledgement and never blocks.
func (a *acks) put(ack func()) {
	a.mu.Lock()
	a.waiting = append(a.waiting, ack)
	a.mu.Unlock()
	select {
	case a.poke <- struct{}{}:
	default: // the sender is awake already
	}
}

// run sends until ctx ends.
func (a *acks) run(ctx context.Context) {
	for {
		a.mu.Lock()
		waiting := a.waiting
		a.waiting, a.sending = nil, len(waiting) > 0
		a.mu.Unlock()
		for _, ack := range waiting {
			ack()
		}
		if len(waiting) > 0 {
			continue
		}
		select {
		case <-ctx.Done():
			return
		case <-a.poke:
		}
	}
}

// idle reports whether every acknowledgement has been handed on.
func (a *acks) idle() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return len(a.waiting) == 0 && !a.sending
}
