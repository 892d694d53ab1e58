package service

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rhizostat/service/ledger"
	"rhizostat/service/wire"
)

// newBehindStill is a house whose zones publish before what they learned is on record;
// it is written when the test says so.
func newBehindStill(t *testing.T, path string) *still {
	t.Helper()
	l, err := ledger.Open(t.Context(), path, ledger.Options{ProbeEvery: time.Nanosecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	s := newStillOn(t, "telemetry", l)
	s.lots[0].behind = newBehind()
	return s
}

func (s *still) write() {
	s.lots[0].behind.write(s.house)
	s.lots[0].flush()
}

// snapshotAt is of when the snapshot on record is, zero where there is none.
func (s *still) snapshotAt(t *testing.T) time.Time {
	t.Helper()
	r, err := s.ledger.Recover(t.Context(), "north", bench(0))
	if err != nil {
		t.Fatal(err)
	}
	return r.At
}

func (s *still) points(t *testing.T) int {
	t.Helper()
	n := 0
	if err := s.ledger.Points(t.Context(), "north", bench(0), time.Time{}, farFuture, func(ledger.Point) error { n++; return nil }); err != nil {
		t.Fatal(err)
	}
	return n
}

// A state that names nothing on record waits for no disk; advice does, and so does what
// was learned before it. What is exposed as a counter is on record, and never falls.
func TestOnlyWhatMustBeOnRecordWaitsForIt(t *testing.T) {
	s := newBehindStill(t, filepath.Join(t.TempDir(), "l.db"))
	w := s.workers[0]
	s.tell(0, 10*time.Minute)
	if state, ok := s.lastOf(w.topics.State(bench(0))); !ok {
		t.Fatal("no state")
	} else if r, err := wire.ParseState(state); err != nil || r.NotApprovable != nil {
		t.Errorf("the state is %s (%v)", state, err)
	}
	if at := s.snapshotAt(t); !at.IsZero() || s.points(t) > 0 || w.durable.Known {
		t.Fatalf("on record is %s, before anybody has written", at)
	}
	s.write()
	first := s.snapshotAt(t)
	if first.IsZero() || s.points(t) == 0 || !w.durable.Known {
		t.Fatalf("written, and on record is %s with %d points", first, s.points(t))
	}

	s.tell(15*time.Minute, 40*time.Minute) // with the advice, which takes with it what waited
	a := w.desk.Standing()
	if a == nil {
		t.Fatal("no advice")
	}
	if r, err := s.ledger.Recover(t.Context(), "north", bench(0)); err != nil || len(r.Advice) != 1 || !r.At.Equal(w.now) {
		t.Errorf("on record are %d advice at %s (%v); want what was published, at %s", len(r.Advice), r.At, err, w.now)
	}
	if _, ok := s.lastOf(w.topics.Advice(bench(0))); !ok {
		t.Error("on record, and not published")
	}
	last, number := s.snapshotAt(t), w.durableSnapshot
	s.write() // nothing older comes over it
	if at := s.snapshotAt(t); !at.Equal(last) || w.durableSnapshot != number {
		t.Errorf("the snapshot on record went from %s to %s", last, at)
	}
}

// Whatever keeps a decision from the record keeps it from the wire, also where the
// zones' states go on.
func TestNothingDecidedIsPublishedUnrecorded(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.db")
	s := newBehindStill(t, path)
	w := s.workers[0]
	s.tell(0, 40*time.Minute)
	s.write()
	a := w.desk.Standing()
	if err := os.Rename(path, path+".away"); err != nil {
		t.Fatal(err)
	}
	s.published = nil
	s.decide(t, a, wire.Approve)
	s.lots[0].flush()
	for _, m := range s.published {
		if strings.Contains(m.Topic, "/setpoint") && len(m.Payload) > 0 || strings.HasSuffix(m.Topic, "/result") && bytes.Contains(m.Payload, []byte("accepted")) {
			t.Errorf("not on record, and published: %s %s", m.Topic, m.Payload)
		}
	}

	// what was measured meanwhile waits, and the state says what is the matter
	before := s.points(t)
	for after := 45 * time.Minute; after <= 2*time.Hour; after += 5 * time.Minute {
		s.tell(after, after)
		s.write()
	}
	payload, _ := s.lastOf(w.topics.State(bench(0)))
	if state, err := wire.ParseState(payload); err != nil || state.NotApprovable == nil || state.NotApprovable.Code != "ledger-unavailable" {
		t.Errorf("the state is %s (%v)", payload, err)
	}
	if err := os.Rename(path+".away", path); err != nil {
		t.Fatal(err)
	}
	s.tell(125*time.Minute, 125*time.Minute)
	s.write()
	s.write()
	if got := s.points(t); got < before+15 {
		t.Errorf("%d points on record, %d before the outage of 75 min; want one for each 5 min", got, before)
	}
	if at := s.snapshotAt(t); !at.Equal(w.now) {
		t.Errorf("the snapshot on record is of %s, want %s", at, w.now)
	}
	s.tell(130*time.Minute, 130*time.Minute)
	payload, _ = s.lastOf(w.topics.State(bench(0)))
	if state, err := wire.ParseState(payload); err != nil || state.NotApprovable != nil {
		t.Errorf("the ledger is back, and the state is %s (%v)", payload, err)
	}
}

// What waits to be written behind is bounded: the zones wait for the disk then.
func TestWhatIsWrittenBehindIsBounded(t *testing.T) {
	s := newBehindStill(t, filepath.Join(t.TempDir(), "l.db"))
	b := s.lots[0].behind
	d := deferred{worker: s.workers[0], points: make([]ledger.Point, 256)}
	for i := range d.points {
		d.points[i] = ledger.Point{Site: "north", Zone: bench(0), At: morning.Add(time.Duration(i) * time.Second)}
	}
	n := (maxBehind + d.size() - 1) / d.size() // as many as are let in
	for range n {
		b.add(d)
	}
	added := make(chan struct{})
	go func() {
		defer close(added)
		b.add(d)
	}()
	select {
	case <-added:
		t.Fatal("there was room for more than there is")
	case <-b.hurry: // it asks for room
	}
	b.write(s.house)
	<-added
	if ends := b.settled(); len(ends) != n || errors.Join(ends[0].err, ends[n-1].err) != nil {
		t.Errorf("%d were written (%v), want %d", len(ends), ends[0].err, n)
	}
}

// nan is a point that no ledger takes.
func nan() []ledger.Point {
	return []ledger.Point{{Site: "north", Zone: bench(0), At: morning, WaterContent: math.NaN()}}
}

// What lies in one zone's part of a write keeps no other part from the record, and what is
// then written again does not come over a decision that was recorded meanwhile.
func TestAnOlderSnapshotComesOverNoNewerOne(t *testing.T) {
	s := newBehindStill(t, filepath.Join(t.TempDir(), "l.db"))
	w, b := s.workers[0], s.lots[0].behind
	s.tell(0, 40*time.Minute)
	s.write()
	s.tell(45*time.Minute, 45*time.Minute)
	b.add(deferred{worker: w, points: nan()})
	b.write(s.house)
	ends := b.settled() // the lot has not looked yet
	if len(ends) != 2 || ends[0].row == nil || ends[0].err == nil || isFault(ends[0].err) {
		t.Fatalf("the writer has come to %+v, want a snapshot that another part has kept from the record", ends)
	}
	s.tell(50*time.Minute, 50*time.Minute)
	s.decide(t, w.desk.Standing(), wire.Approve)
	s.lots[0].flush()
	before := s.points(t)
	if at := s.snapshotAt(t); !at.Equal(w.now) {
		t.Fatalf("the snapshot of the decision is of %s, want %s", at, w.now)
	}
	b.ended = ends
	s.lots[0].flush()
	if at := s.snapshotAt(t); !at.Equal(w.now) || s.points(t) != before+1 {
		t.Errorf("on record are %d points and a snapshot of %s, want %d and %s", s.points(t), at, before+1, w.now)
	}

	s.tell(55*time.Minute, 55*time.Minute) // and one that no newer one has followed is written
	b.add(deferred{worker: w, points: nan()})
	b.write(s.house)
	s.lots[0].flush()
	if at := s.snapshotAt(t); !at.Equal(w.now) || s.points(t) != before+2 || !w.savedAt.Equal(w.now) {
		t.Errorf("on record are %d points and a snapshot of %s, want %d and %s", s.points(t), at, before+2, w.now)
	}
}

// A snapshot that failed together with what its zone decided then is due again: else a
// kill would cost what was learned in twice the time.
func TestASnapshotThatFailedBesideADecisionIsDue(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.db")
	s := newBehindStill(t, path)
	w := s.workers[0]
	s.tell(0, 40*time.Minute)
	s.write()
	s.tell(45*time.Minute, 45*time.Minute) // it waits to be written
	if err := os.Rename(path, path+".away"); err != nil {
		t.Fatal(err)
	}
	s.decide(t, w.desk.Standing(), wire.Approve)
	s.lots[0].flush()
	if err := os.Rename(path+".away", path); err != nil {
		t.Fatal(err)
	}
	s.tell(46*time.Minute, 46*time.Minute)
	s.write()
	if at := s.snapshotAt(t); !at.Equal(w.now) {
		t.Errorf("the snapshot on record is of %s, want %s", at, w.now)
	}
}

// What has been written is let go before the zones look: one flush of very many zones
// may write many times.
func TestWhatIsWrittenIsLetGo(t *testing.T) {
	s := newBehindStill(t, filepath.Join(t.TempDir(), "l.db"))
	s.tell(0, 10*time.Minute)
	s.lots[0].behind.write(s.house)
	ends := s.lots[0].behind.settled()
	if len(ends) == 0 || ends[0].row == nil || ends[0].size() != 0 {
		t.Errorf("of %d that are on record %d bytes are kept, want none", len(ends), ends[0].size())
	}
}
