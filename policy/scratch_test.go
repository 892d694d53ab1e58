package policy

import (
	"reflect"
	"runtime"
	"testing"
	"time"

	"rhizostat/policy/hydraulics"
)

// Zones that share their scratch come to what each comes to with its own.
func TestZonesShareScratch(t *testing.T) {
	var shared Scratch
	var alone, together [2][]Output
	for _, c := range []struct {
		scratch *Scratch
		into    *[2][]Output
	}{{nil, &alone}, {&shared, &together}} {
		var zones [2]*Zone
		for i := range zones {
			s := bench()
			s.Container.HeightCM *= 1 - 0.3*float64(i)
			z, err := NewShared(&s, Shared{Scratch: c.scratch})
			if err != nil {
				t.Fatal(err)
			}
			zones[i] = z
		}
		for day := range 3 {
			for i, z := range zones {
				play(t, z, monday.AddDate(0, 0, day), 1, nil, func(_ time.Time, out Output) { c.into[i] = append(c.into[i], out) })
			}
		}
	}
	advices := 0
	for i := range alone {
		for k := range alone[i] {
			if alone[i][k].Advice != nil {
				advices++
			}
		}
		if !reflect.DeepEqual(alone[i], together[i]) {
			t.Errorf("zone %d comes to something else with a shared scratch", i)
		}
	}
	if advices < 4 {
		t.Errorf("%d advices; expected one a zone and evening", advices)
	}
}

// What a zone takes of memory that has been at work for two days, beside what all share.
func BenchmarkZones(b *testing.B) {
	const zones = 200
	var shared Scratch
	var shelf hydraulics.Shelf
	for b.Loop() {
		b.StopTimer()
		s := bench()
		all := make([]*Zone, zones)
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		b.StartTimer()
		for i := range all {
			own := s // as each zone of a site has its own
			z, err := NewShared(&own, Shared{Shelf: &shelf, Scratch: &shared})
			if err != nil {
				b.Fatal(err)
			}
			play(b, z, monday, 2, nil, func(time.Time, Output) {})
			all[i] = z
		}
		b.StopTimer()
		runtime.GC()
		runtime.ReadMemStats(&after)
		b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/zones, "B/zone")
		runtime.KeepAlive(all)
		b.StartTimer()
	}
}
