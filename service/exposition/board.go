package exposition

import "sync/atomic"

// Board holds the latest sample of each zone. Zones put theirs up and scrapes read
// them without waiting for one another.
type Board struct{ samples []atomic.Pointer[Sample] }

// NewBoard makes a board for so many zones, all without a sample.
func NewBoard(zones int) *Board { return &Board{make([]atomic.Pointer[Sample], zones)} }

// Put sets the sample of a zone, by its index. The sample must not be changed
// afterwards.
func (b *Board) Put(zone int, s *Sample) { b.samples[zone].Store(s) }

// At gives the sample of a zone, nil when it has none yet.
func (b *Board) At(zone int) *Sample { return b.samples[zone].Load() }

// Each is a Source: all samples in the order of the zones.
func (b *Board) Each(yield func(*Sample) bool) {
	for i := range b.samples {
		if s := b.samples[i].Load(); s != nil && !yield(s) {
			return
		}
	}
}
