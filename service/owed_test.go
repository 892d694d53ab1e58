package service

import (
	"testing"
	"time"
)

// Of two lots that can write again neither goes on before what was owed is on record.
func TestNobodyGoesOnBeforeWhatIsOwed(t *testing.T) {
	s := newStill(t)
	begun, record := make(chan struct{}), make(chan struct{})
	s.house.onceWritable(func() error {
		close(begun)
		<-record
		return nil
	})
	went := make(chan struct{}, 2)
	for range 2 {
		go func() {
			s.house.noteLedger(nil)
			went <- struct{}{}
		}()
	}
	<-begun
	left := 2
	select {
	case <-went:
		left--
		t.Error("one went on, and what is owed is not on record")
	case <-time.After(100 * time.Millisecond): // too short: it would go unseen, not fail
	}
	close(record)
	for range left {
		<-went
	}
	if s.house.owed.Load() != nil {
		t.Error("it is on record, and owed still")
	}
}
