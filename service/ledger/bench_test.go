package ledger

import (
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"rhizostat/policy"
)

// BenchmarkCommitAlone is one caller: each commit has a sync of its own.
func BenchmarkCommitAlone(b *testing.B) {
	l := open(b, filepath.Join(b.TempDir(), "ledger.db"))
	n := 0
	for b.Loop() {
		n++
		if err := l.Commit(b.Context(), decision(b, "b", n)); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCommitTogether is many callers at once, whose commits share syncs.
func BenchmarkCommitTogether(b *testing.B) {
	for _, callers := range []int{16, 256} {
		b.Run(fmt.Sprint(callers), func(b *testing.B) {
			l := open(b, filepath.Join(b.TempDir(), "ledger.db"))
			var zone atomic.Int64
			b.SetParallelism(callers / 2)
			b.RunParallel(func(pb *testing.PB) {
				name, n := fmt.Sprint("z", zone.Add(1)), 0
				for pb.Next() {
					n++
					if err := l.Commit(b.Context(), decision(b, name, n)); err != nil {
						b.Error(err)
						return
					}
				}
			})
		})
	}
}

// BenchmarkSync is the disk alone: an 800 byte append and its sync.
func BenchmarkSync(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "f"))
	if err != nil {
		b.Fatal(err)
	}
	defer func() {
		if err := f.Close(); err != nil {
			b.Error(err)
		}
	}()
	row := make([]byte, 800)
	for b.Loop() {
		if _, err := f.Write(row); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
	}
}

// fleet makes a ledger of so many zones, each with a snapshot and two live
// advice.
func fleet(b *testing.B, zones int) string {
	path := filepath.Join(b.TempDir(), "ledger.db")
	l, err := Open(b.Context(), path, Options{})
	if err != nil {
		b.Fatal(err)
	}
	var batch Batch
	for z := range zones {
		name := fmt.Sprintf("zone-%05d", z)
		one, two := approved(issued(b, name, 1)), issued(b, name, 2)
		batch.Changes.Advice = append(batch.Changes.Advice, one, two)
		batch.Zones = append(batch.Zones, ZoneRow{Site: "north", Zone: name, Version: 1, At: noon, Snapshot: make([]byte, 6000)})
		if len(batch.Zones) == 1000 || z == zones-1 {
			if err := l.Commit(b.Context(), batch); err != nil {
				b.Fatal(err)
			}
			batch = Batch{}
		}
	}
	if err := l.Close(); err != nil {
		b.Fatal(err)
	}
	return path
}

// BenchmarkStart is opening a ledger of 50,000 zones, its check included, and
// reading all of them; the budget is 10 s for the whole start.
func BenchmarkStart(b *testing.B) {
	const zones = 50_000
	path := fleet(b, zones)
	for b.Loop() {
		l, err := Open(b.Context(), path, Options{})
		if err != nil {
			b.Fatal(err)
		}
		n, pending := 0, 0
		err = l.RecoverAll(b.Context(), func(r ZoneRecord) error {
			n++
			for _, a := range r.Advice {
				if a.Advice.Approval.State == policy.StatePending {
					pending++
				}
			}
			return nil
		})
		if err != nil || n != zones || pending != zones {
			b.Fatal(n, pending, err)
		}
		if err := l.Close(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPoints writes one point of each of 10,000 zones; the figure is a
// point.
func BenchmarkPoints(b *testing.B) {
	const zones = 10_000
	l := open(b, filepath.Join(b.TempDir(), "ledger.db"))
	at := noon
	n := 0
	for b.Loop() {
		if n%zones == 0 {
			at = at.Add(5 * time.Minute)
			batch := Batch{Points: make([]Point, zones)}
			for z := range batch.Points {
				batch.Points[z] = Point{Site: "north", Zone: fmt.Sprint("z", z), At: at, WaterContent: 0.55, FullPoint: 0.6, RefillPoint: 0.5}
			}
			if err := l.Commit(b.Context(), batch); err != nil {
				b.Fatal(err)
			}
		}
		n++
	}
}
