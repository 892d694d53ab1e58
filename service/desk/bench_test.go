package desk

import (
	"fmt"
	"runtime"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// BenchmarkDecide is a decision, from its bytes to what must be recorded.
func BenchmarkDecide(b *testing.B) {
	x := newTable(b)
	a := plan(1, morning)
	x.propose(a, morning.Add(-time.Hour))
	payload := x.payload(a, wire.Approve, "")
	b.ReportAllocs()
	for b.Loop() {
		if o := x.Clone().Decide(payload, morning.Add(-time.Minute)); o.Result.Result != wire.Accepted {
			b.Fatal(o.Result)
		}
	}
}

// BenchmarkPublications is what must stand on a zone's retained topics.
func BenchmarkPublications(b *testing.B) {
	x := newTable(b)
	a := plan(1, morning)
	x.propose(a, morning.Add(-time.Hour))
	x.decide(a, wire.Approve, "", morning.Add(-time.Minute), "")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := x.Publications(topics, morning); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkMemory is what a desk holds on a usual evening: yesterday's advice
// in force, tomorrow's pending, the last closed ones, folded. See B/zone.
func BenchmarkMemory(b *testing.B) {
	const zones = 2000
	for b.Loop() {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		desks := make([]*Desk, zones)
		rules := openRules()
		for i := range desks {
			x := &table{New("north", "bench-07", rules), b}
			for n := range 4 {
				x.propose(plan(n, morning), morning.Add(-time.Hour))
			}
			today := plan(4, morning)
			x.propose(today, morning.Add(-time.Hour))
			x.decide(today, wire.Approve, "", morning.Add(-time.Minute), "")
			x.propose(plan(5, morning.Add(day)), morning.Add(5*time.Hour))
			if _, err := x.Fold(); err != nil {
				b.Fatal(err)
			}
			desks[i] = x.Desk
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/zones, "B/zone")
		if len(desks[0].entries) != 2+keepClosed {
			b.Fatal(fmt.Sprint(len(desks[0].entries), " entries"))
		}
		runtime.KeepAlive(desks)
	}
}
