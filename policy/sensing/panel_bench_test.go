package sensing

import "testing"

// One reading of a zone with three probes, from reading to zone value.
func BenchmarkPanelObserve(b *testing.B) {
	z := newTrialZone(1, 3, 5*minuteMs)
	type reading struct {
		probe int
		atMs  int64
		wc    float64
	}
	var readings []reading
	z.run(2*dayMs, func(i int, at int64, r float64) { readings = append(readings, reading{i, at, r}) }, nil)
	var p Panel
	span := readings[len(readings)-1].atMs - readings[0].atMs + 5*minuteMs
	b.ReportAllocs()
	i, shift := 0, int64(0)
	for b.Loop() {
		r := readings[i]
		p.Observe(r.probe, r.atMs+shift, r.wc, r.wc, Zone{Ceiling: 0.95})
		if _, _, _, ok := p.Consensus.Value(r.atMs + shift); !ok {
			b.Fatal("no value")
		}
		if i++; i == len(readings) {
			i, shift = 0, shift+span
		}
	}
}
