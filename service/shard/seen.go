package shard

import (
	"cmp"
	"slices"

	"rhizostat/policy/sensing"
)

// seen are the newest stepped stamps of a zone by source and signal, in that order. A
// source has few of the signals that there are, so there is a row for each that it has.
type seen []stamp

type stamp struct {
	ms     int64
	slot   uint16 // of the source
	signal sensing.Signal
}

func (s seen) find(slot int, signal sensing.Signal) (int, bool) {
	return slices.BinarySearchFunc(s, stamp{slot: uint16(slot), signal: signal}, func(a, b stamp) int {
		return cmp.Or(cmp.Compare(a.slot, b.slot), cmp.Compare(a.signal, b.signal))
	})
}

// newest gives the newest stamp of a signal, ms; 0: it was never seen.
func (s seen) newest(slot int, signal sensing.Signal) int64 {
	if i, ok := s.find(slot, signal); ok {
		return s[i].ms
	}
	return 0
}

// take notes a stamp, ms, where it is the newest.
func (s *seen) take(slot int, signal sensing.Signal, ms int64) {
	i, ok := s.find(slot, signal)
	if !ok {
		rows := *s
		if len(rows) == cap(rows) {
			rows = append(make(seen, 0, len(rows)+1), rows...) // no more than there are: a new one is rare
		}
		*s = slices.Insert(rows, i, stamp{slot: uint16(slot), signal: signal})
	}
	(*s)[i].ms = max((*s)[i].ms, ms)
}
