package shard

import (
	"context"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"rhizostat/policy"
)

// flooded is a worker whose every reading brings the next one: its queue is never
// empty.
type flooded struct {
	record
	more  func()
	steps int
}

func (f *flooded) Step(e policy.Event) {
	f.steps++
	time.Sleep(time.Millisecond) // an engine's work
	if e.Kind == policy.Reading {
		f.more()
	}
}

// A zone that sends more than can be stepped keeps no other from its readings,
// its wake-ups or its people, and the end is not held up.
func TestAFloodOfOneZoneStarvesNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		flushes := 0
		refused := map[string]int{}
		s := New(Settings{Mode: Wall, Hold: 0, Late: DefaultLate, Ahead: DefaultAhead, Flush: func() { flushes++ },
			Refused: func(_, _ int, reason string) { refused[reason]++ }})
		flood, quiet := &flooded{}, &record{}
		s.Add(flood, 1, time.Time{})
		s.Add(quiet, 1, time.Time{})
		r := NewRunner(s, time.Second, time.Now)
		send := func(zone int) { r.Telemetry(zone, reading(0, time.Now())) }
		flood.more = func() {
			for range 3 {
				send(0)
			}
		}
		var woken atomic.Int64
		quiet.wake = func(at time.Time) {
			woken.Add(1)
			s.WakeAt(1, at.Add(time.Minute))
		}
		quiet.control = func(c Control) { c.Ack() }

		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			r.Run(ctx)
		}()
		send(0)
		time.Sleep(10 * time.Minute)
		if n := woken.Load(); n < 10 {
			t.Errorf("a zone without readings was woken %d times in ten minutes of another's flood, want every minute", n)
		}
		asked := time.Now()
		said := make(chan time.Time, 1)
		send(1)
		r.Control(1, Control{Kind: Decision, Time: asked, Ack: func() { said <- time.Now() }})
		if waited := (<-said).Sub(asked); waited > time.Second {
			t.Errorf("a decision waited %s behind another zone's flood, want at most a second", waited)
		}
		told := time.Now()
		stop()
		<-ended
		// a full queue and the batch that was running, and nothing that came meanwhile
		if took, most := time.Since(told), (maxPending+maxBatch+maxTurn)*time.Millisecond; took > most {
			t.Errorf("the end was held up by a flood for %s, want at most %s", took, most)
		}
		if flushes < 60 {
			t.Errorf("%d flushes in ten minutes, want one a batch", flushes)
		}
		t.Logf("%d steps of the flood, %v refused", flood.steps, refused)
	})
}

// What people send is bounded too, and what does not fit is not acknowledged.
func TestPeoplesMessagesAreBounded(t *testing.T) {
	refused := 0
	s := New(Settings{Mode: Wall, Flush: func() {}, Refused: func(_, _ int, reason string) {
		if reason == ReasonQueueFull {
			refused++
		}
	}})
	worker := &record{}
	s.Add(worker, 1, time.Time{})
	r := NewRunner(s, time.Second, time.Now)
	for range maxControls + 7 {
		r.Control(0, Control{Kind: Decision, Time: noon})
	}
	r.Control(0, Control{Kind: Resync, Time: noon}) // the link's own are few, and needed
	r.finish()
	handled := 0
	for _, line := range worker.lines {
		if strings.HasPrefix(line, "control ") { // the zone is woken once too
			handled++
		}
	}
	if refused != 7 || handled != maxControls+1 {
		t.Errorf("%d refused, %d handled; want 7 and %d", refused, handled, maxControls+1)
	}
}

// However often what takes commands is born, people are heard, and each of the topics
// is told once of what waits; a birth after that counts again.
func TestBirthsTakeNobodysRoom(t *testing.T) {
	r, workers, refused := queueOf(Wall)
	born := map[string]int{}
	decisions := 0
	workers[0].control = func(c Control) {
		switch c.Kind {
		case Reborn:
			born[c.Topic]++
		case Decision:
			decisions++
		}
	}
	for round := 1; round <= 2; round++ {
		for range 2 * maxControls {
			r.Control(0, Control{Kind: Reborn, Topic: "NCMD/a", Time: noon})
		}
		r.Control(0, Control{Kind: Reborn, Topic: "NCMD/b", Time: noon})
		for range maxControls {
			r.Control(0, Control{Kind: Decision, Time: noon})
		}
		r.finish()
		if born["NCMD/a"] != round || born["NCMD/b"] != round || decisions != round*maxControls || len(refused) > 0 {
			t.Fatalf("round %d: births %v, %d decisions, refused %v; want %d of each topic, %d and none", round, born, decisions, refused, round, round*maxControls)
		}
	}
}

// queueOf is a runner of two zones, with what was refused.
func queueOf(mode Mode) (r *Runner, workers [2]*record, refused map[string]int) {
	refused = map[string]int{}
	s := New(Settings{Mode: mode, Hold: DefaultHold, Late: DefaultLate, Ahead: DefaultAhead, Flush: func() {},
		Refused: func(_, _ int, reason string) { refused[reason]++ }})
	for i := range workers {
		workers[i] = &record{}
		s.Add(workers[i], 1, time.Time{})
	}
	return NewRunner(s, time.Second, time.Now), workers, refused
}

// A pack may bring a day by the minute: none of it makes room for the rest.
func TestADayInOnePackIsNotAFlood(t *testing.T) {
	const day = 24 * 60
	for _, mode := range []Mode{Wall, FromTelemetry} {
		r, workers, refused := queueOf(mode)
		for minute := range day {
			at := noon.Add(time.Duration(minute-day) * time.Minute)
			x := reading(0, at)
			x.Arrived = noon
			r.Telemetry(0, x)
		}
		r.finish()
		r.shard.DrainAll()
		if refused[ReasonQueueFull] > 0 {
			t.Errorf("mode %d: %d readings of one pack had no room", mode, refused[ReasonQueueFull])
		}
		if mode == FromTelemetry && (len(refused) > 0 || len(workers[0].lines) < day) {
			t.Errorf("%d of %d readings were stepped, refused %v", len(workers[0].lines), day, refused)
		}
	}
}

// In the telemetry clock nothing is dropped: whoever brings readings is asked to
// pause, and neither people nor the other zones wait for the end of the flood. In
// the wall clock a flood makes room for itself.
func TestAFloodInEitherClock(t *testing.T) {
	const flood = 2 * crowd
	for _, mode := range []Mode{Wall, FromTelemetry} {
		r, workers, refused := queueOf(mode)
		for i := range flood {
			x := reading(0, noon.Add(time.Duration(i)*time.Second))
			x.Arrived = x.At
			r.Telemetry(0, x)
		}
		if r.Crowded() != (mode == FromTelemetry) {
			t.Errorf("mode %d: crowded: %v", mode, r.Crowded())
		}
		want := 0
		if mode == Wall {
			want = flood - maxPending
		}
		if refused[ReasonQueueFull] != want {
			t.Errorf("mode %d: %d readings had no room, want %d", mode, refused[ReasonQueueFull], want)
		}
		acked := false
		workers[1].control = func(c Control) { acked = true }
		r.Control(1, Control{Kind: Decision, Time: noon})
		for range 2 {
			r.step()
		}
		if !acked {
			t.Errorf("mode %d: a decision waits for the end of another zone's flood", mode)
		}
		r.finish()
		r.shard.DrainAll()
		if r.Crowded() || r.waiting != 0 || r.pending[0].controls+r.pending[1].controls != 0 {
			t.Errorf("mode %d: all is worked off, and %d readings wait", mode, r.waiting)
		}
		if n := len(workers[0].lines); mode == FromTelemetry && n < flood {
			t.Errorf("%d of %d readings were stepped", n, flood)
		}
	}
}

// In the wall clock a zone lives without a single reading: it says that it knows
// nothing, and what was approved for it ends in time.
func TestASilentZoneLivesInTheWallClock(t *testing.T) {
	f := newFixture(Wall)
	f.Tick(noon)
	if !slices.Equal(f.worker.lines, []string{"12:00:00 kind=0"}) {
		t.Errorf("got %q, want one wake-up at once", f.worker.lines)
	}
	f = newFixture(FromTelemetry)
	f.Tick(noon)
	if len(f.worker.lines) != 0 {
		t.Errorf("got %q; in the telemetry clock time begins with the telemetry", f.worker.lines)
	}
}

// A person's word that comes before any reading does not fix the time for good.
func TestAFirstWordIsOverruledByReadings(t *testing.T) {
	f := newFixture(FromTelemetry)
	f.Control(0, Control{Kind: Operator, Time: noon.AddDate(2, 0, 0)})
	f.Telemetry(0, reading(0, noon))
	f.Telemetry(0, reading(1, noon))
	f.DrainAll()
	if f.worker.restarts != 1 || !f.Now(0).Equal(noon) {
		t.Errorf("%d restarts, engine time %s; want 1 and %s", f.worker.restarts, f.Now(0), noon)
	}
}
