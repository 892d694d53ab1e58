package shard

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"rhizostat/policy"
)

// What comes together is put in order; what comes after a pause is not waited for, and
// a zone that goes on talking keeps no other waiting.
func TestSettle(t *testing.T) {
	s := New(Settings{Mode: FromTelemetry, Hold: DefaultHold, Late: DefaultLate, Ahead: DefaultAhead, Flush: func() {}, Refused: func(int, int, string) {}})
	talks, quiet := &record{}, &record{}
	s.Add(talks, 2, time.Time{})
	s.Add(quiet, 2, time.Time{})
	at := func(seconds int) time.Time { return noon.Add(time.Duration(seconds) * time.Second) }
	for _, seconds := range []int{10, 0, 5} {
		s.Telemetry(1, reading(0, at(seconds)))
		s.Telemetry(0, reading(0, at(seconds)))
	}
	if !s.Settle() || len(quiet.lines) > 0 {
		t.Errorf("nobody has paused yet, and %q came out", quiet.lines)
	}
	s.Telemetry(0, reading(0, at(20)))
	if !s.Settle() {
		t.Error("a zone talks, and nothing waits")
	}
	want := []string{"12:00:00 source=0 stamp=12:00:00", "12:00:05 source=0 stamp=12:00:05", "12:00:10 source=0 stamp=12:00:10"}
	if !slices.Equal(quiet.lines, want) || len(talks.lines) > 0 {
		t.Errorf("got %q and %q, want %q and nothing", quiet.lines, talks.lines, want)
	}
	if s.Settle() || len(talks.lines) != 4 {
		t.Errorf("both have paused, and of one came %q", talks.lines)
	}
	if s.Settle() {
		t.Error("all is released, and something waits")
	}
}

// answered is a worker that tells when it was stepped.
type answered struct {
	record
	steps chan time.Time
}

func (a *answered) Step(e policy.Event) {
	if e.Kind == policy.Reading {
		a.steps <- time.Now()
	}
}

// In the telemetry clock the last reading that came is not kept waiting for the next.
func TestALastReadingIsNotKeptWaiting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := New(Settings{Mode: FromTelemetry, Hold: DefaultHold, Late: DefaultLate, Ahead: DefaultAhead, Flush: func() {}, Refused: func(int, int, string) {}})
		w := &answered{steps: make(chan time.Time, 8)}
		s.Add(w, 1, time.Time{})
		r := NewRunner(s, time.Hour, time.Now)
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			r.Run(ctx)
		}()
		for minute := range 3 {
			told := time.Now()
			r.Telemetry(0, reading(0, noon.Add(time.Duration(minute)*time.Minute)))
			if took := (<-w.steps).Sub(told); took > 2*quiet {
				t.Errorf("it waited %s, want at most %s", took, 2*quiet)
			}
			time.Sleep(time.Second)
		}
		stop()
		<-ended
	})
}
