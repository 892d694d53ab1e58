package policy

import (
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// lived gives a zone that has been at work for some days.
func lived(tb testing.TB, days int) (*Zone, time.Time) {
	tb.Helper()
	z, err := New(bench())
	if err != nil {
		tb.Fatal(err)
	}
	at := monday
	play(tb, z, monday, days, nil, func(t time.Time, _ Output) { at = t })
	return z, at
}

// A reading between two looks: the usual step.
func BenchmarkReading(b *testing.B) {
	z, at := lived(b, 3)
	e := Event{Kind: Reading}
	e.Values.Set(sensing.WaterContent, 0.5)
	e.Values.Set(sensing.SubstrateTemperature, 21)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		i++
		at = at.Add(500 * time.Millisecond)
		e.At, e.Stamp, e.Source = at, at, i&1
		out := z.Step(e)
		if !out.NextWake.After(at) {
			b.StopTimer()
			z.Step(Event{Kind: Wake, At: at})
			b.StartTimer()
		}
	}
}

// A forecast of three variants with their intervals, as it is published.
func BenchmarkForecast(b *testing.B) {
	z, at := lived(b, 3)
	b.ReportAllocs()
	for b.Loop() {
		z.forecast(at.UnixMilli(), 0)
	}
}

// The evening plan of one zone, guard and words included.
func BenchmarkEveningPlan(b *testing.B) {
	z, at := lived(b, 3)
	day := z.settings.DayAt(z.settings.DayAt(at).Next)
	b.ReportAllocs()
	for b.Loop() {
		z.issue(at.UnixMilli(), day)
		z.plans = z.plans[:0]
	}
}

func BenchmarkState(b *testing.B) {
	z, at := lived(b, 3)
	b.ReportAllocs()
	for b.Loop() {
		z.state(at.UnixMilli())
	}
}

func BenchmarkSnapshot(b *testing.B) {
	z, _ := lived(b, 3)
	b.ReportAllocs()
	size := 0
	for b.Loop() {
		size = len(z.Snapshot())
	}
	b.ReportMetric(float64(size), "B/snapshot")
}

func BenchmarkRestore(b *testing.B) {
	z, _ := lived(b, 3)
	s := bench()
	snapshot := z.Snapshot()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Restore(s, snapshot); err != nil {
			b.Fatal(err)
		}
	}
}
