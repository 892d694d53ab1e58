package shard

import (
	"testing"
	"time"
)

// What was decided is flushed between two zones where it takes much memory, however
// many there are still to come.
func TestMuchIsFlushedBeforeTheEndOfATick(t *testing.T) {
	const zones, most = 100, 8
	held, worst, flushes := 0, 0, 0
	s := New(Settings{Mode: FromTelemetry, Late: DefaultLate, Ahead: DefaultAhead, Hold: time.Minute,
		Flush: func() { held, flushes = 0, flushes+1 },
		Full:  func() bool { worst = max(worst, held); return held >= most },
	})
	worker := &record{}
	worker.wake = func(time.Time) { held++ }
	for i := range zones {
		s.Add(worker, 1, time.Time{})
		s.Telemetry(i, reading(0, noon))
		s.WakeAt(i, noon)
	}
	s.Tick(noon)
	if worst != most || flushes != zones/most {
		t.Errorf("at most %d were held, flushed %d times; expected %d and %d", worst, flushes, most, zones/most)
	}
}

// Zones take turns with memory for what waits, and none sees what another had there.
func TestZonesLendEachOtherBuffers(t *testing.T) {
	s := New(Settings{Mode: FromTelemetry, Late: DefaultLate, Ahead: DefaultAhead, Hold: time.Minute, Flush: func() {},
		Refused: func(zone, source int, reason string) { t.Errorf("zone %d, source %d: %s", zone, source, reason) }})
	workers := make([]*record, 200)
	for i := range workers {
		workers[i] = &record{}
		s.Add(workers[i], 2, time.Time{})
	}
	for step := range 3 {
		at := noon.Add(time.Duration(step) * 5 * time.Minute)
		for i := range workers {
			s.Telemetry(i, reading(1, at))
			s.Telemetry(i, reading(0, at))
		}
		s.DrainAll()
	}
	for i, w := range workers {
		if len(w.lines) != 6 || w.back {
			t.Fatalf("zone %d: %q; expected two readings of three instants each", i, w.lines)
		}
	}
	if n := len(s.spares.free); n == 0 || n > maxSpares {
		t.Errorf("%d spare buffers; expected 1 to %d", n, maxSpares)
	}
	for i, z := range s.zones {
		if z.order.waiting != nil {
			t.Errorf("zone %d holds a buffer in which nothing waits", i)
		}
	}
}

// The end of a flood's memory has as little room as what a zone usually has waiting, and
// kept as a spare it would keep all of it.
func TestNoSpareIsTheEndOfAFlood(t *testing.T) {
	for dropped := 0; dropped < 1200; dropped += maxSpareSize / 2 { // somewhere among them the memory is full
		s := New(Settings{Mode: Wall, Late: DefaultLate, Ahead: DefaultAhead, Hold: time.Minute, Flush: func() {}, Refused: func(int, int, string) {}})
		s.Add(&record{}, 1, time.Time{})
		r := NewRunner(s, time.Second, func() time.Time { return noon })
		flood := func(n int) {
			for range n {
				r.Telemetry(0, reading(0, noon))
			}
		}
		flood(maxPending + dropped)
		r.step()
		flood(maxSpareSize / 2)
		for r.step() > 0 {
		}
		if len(r.spares) != 0 {
			t.Fatalf("a flood of which %d were dropped leaves a spare of room for %d; expected none", dropped, cap(r.spares[0]))
		}
		flood(1)
		if r.step(); len(r.spares) != 1 || r.waiting != 0 {
			t.Fatalf("after one reading %d spares, %d wait; expected one, none", len(r.spares), r.waiting)
		}
	}
}
