package exposition

import (
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"testing"
)

// facilityBoard has n zones with four probes each and a finding here and there.
func facilityBoard(n int) board {
	b := make(board, n)
	for i := range n {
		s := healthy(fmt.Sprintf("bench-%05d", i))
		s.WaterContent, s.UptakeML, s.SaturationS = 0.4+float64(i%1999)/1e4, float64(i)*13.37, float64(i)*7.77
		s.Probes = []ProbeHealth{{"p1", true}, {"p2", true}, {"p3", true}, {"p4", i%9 > 0}}
		if i%10 > 0 {
			s.Findings = nil
		}
		b[i] = s
	}
	return b
}

// BenchmarkScrape is one scrape of 50,000 zones, plain and packed.
func BenchmarkScrape(b *testing.B) {
	m := NewMetrics("bench", nil)
	m.ZonesFrom(facilityBoard(50000).Each)
	b.Run("plain", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			var n counted
			if err := m.Expose(&n); err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(n)/1e6, "MB")
		}
	})
	b.Run("gzip", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			var n counted
			packed, err := gzip.NewWriterLevel(&n, gzip.BestSpeed)
			if err != nil {
				b.Fatal(err)
			}
			if err := m.Expose(packed); err != nil {
				b.Fatal(err)
			}
			if err := packed.Close(); err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(n)/1e6, "MB")
		}
	})
}

// BenchmarkMessage is what counting a message costs.
func BenchmarkMessage(b *testing.B) {
	m := NewMetrics("bench", []string{"late"})
	for name, reason := range map[string]string{"accepted": "", "refused": "late"} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				m.Message(name, reason)
			}
		})
	}
}

// counted counts what is written to it.
type counted int64

func (c *counted) Write(p []byte) (int, error) {
	*c += counted(len(p))
	return len(p), nil
}

var _ io.Writer = (*counted)(nil)

// TestMemory: what a scrape allocates does not grow with the zones.
func TestMemory(t *testing.T) {
	allocations := func(n int) float64 {
		from := facilityBoard(n).Each
		fewest := math.Inf(1) // a goroutine of another test that is just ending counts too
		for range 5 {
			fewest = min(fewest, testing.AllocsPerRun(3, func() {
				if err := writeZones(io.Discard, from); err != nil {
					t.Fatal(err)
				}
			}))
		}
		return fewest
	}
	if few, many := allocations(10), allocations(2000); many > few {
		t.Errorf("%v allocations with 10 zones, %v with 2000", few, many)
	}
}
