package shard

import (
	"sort"
	"time"
)

// maxWaiting bounds the readings of one zone that wait to be put in order; the
// oldest goes on when it is full, which is what it waited for anyway.
const maxWaiting = 64

// buffer puts a zone's readings in time order. It is small: a few sources, a
// short hold.
type buffer struct {
	spares  *spares     // of its shard, nil: none
	waiting []Telemetry // by At, then by arrival
	forced  int         // of the first, how many must go on regardless
}

// push inserts behind all with the same or an earlier stamp. It reports false
// for a reading whose every signal waits already with the same stamp.
func (b *buffer) push(t Telemetry) bool {
	for i := range b.waiting {
		w := &b.waiting[i]
		if w.Source == t.Source && w.At.Equal(t.At) {
			t.Values.Without(&w.Values)
		}
	}
	if t.Values.Empty() {
		return false
	}
	if b.waiting == nil {
		b.waiting = b.spares.take()
	}
	i := len(b.waiting)
	if i > 0 && t.At.Before(b.waiting[i-1].At) {
		i = sort.Search(len(b.waiting), func(k int) bool { return b.waiting[k].At.After(t.At) })
	}
	b.waiting = append(b.waiting, Telemetry{})
	copy(b.waiting[i+1:], b.waiting[i:])
	b.waiting[i] = t
	if len(b.waiting) > maxWaiting {
		b.forced++
	}
	return true
}

// pop takes the first reading if it is stamped at or before until.
func (b *buffer) pop(until time.Time) (Telemetry, bool) {
	if len(b.waiting) == 0 {
		return Telemetry{}, false
	}
	if b.forced == 0 && b.waiting[0].At.After(until) {
		return Telemetry{}, false
	}
	b.forced = max(0, b.forced-1)
	t := b.waiting[0]
	b.waiting = b.waiting[:copy(b.waiting, b.waiting[1:])]
	if len(b.waiting) == 0 {
		b.clear()
	}
	return t, true
}

func (b *buffer) clear() {
	b.spares.give(b.waiting)
	b.waiting, b.forced = nil, 0
}

// spares is memory of the buffers in which nothing waits, for those in which
// something will: most of the time that is nearly all.
type spares struct{ free [][]Telemetry }

const (
	maxSpares    = 64 // what is beyond was a burst
	maxSpareSize = 16
)

func (s *spares) take() []Telemetry {
	if s == nil || len(s.free) == 0 {
		return nil
	}
	last := len(s.free) - 1
	out := s.free[last]
	s.free = s.free[:last]
	return out
}

func (s *spares) give(old []Telemetry) {
	if s != nil && cap(old) > 0 && cap(old) <= maxSpareSize && len(s.free) < maxSpares {
		s.free = append(s.free, old[:0])
	}
}
