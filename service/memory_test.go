package service

import (
	"fmt"
	"io"
	"log/slog"
	"math"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// BenchmarkZones gives what a zone takes of the whole daemon but its link: site file,
// intake, clock, engine, desk and metrics, after two days at work in which a person
// approves what is asked, beside what all zones share. See B/zone.
func BenchmarkZones(b *testing.B) {
	const few, many = 2, 52
	for b.Loop() {
		small := standingHeap(b, few)
		b.ReportMetric((standingHeap(b, many)-small)/(many-few), "B/zone")
	}
}

// standingHeap is the heap that a house of so many zones holds, bytes.
func standingHeap(b *testing.B, zones int) float64 {
	b.Helper()
	path := filepath.Join(b.TempDir(), "ledger.db")
	before := heap()
	f := newFacility(b, zones, path)
	for at := morning; at.Before(morning.Add(48 * time.Hour)); at = at.Add(5 * time.Minute) {
		f.step(at)
	}
	after := heap()
	if f.approved < zones {
		b.Fatalf("%d advice were approved in two days of %d zones; expected one in each", f.approved, zones)
	}
	if err := f.house.ledger.Close(); err != nil {
		b.Fatal(err)
	}
	return after - before
}

func heap() float64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC() // what a finalizer or a pool held is gone
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc)
}

// facility is a crude one for zones of siteOf: every pot drinks by the sun and is
// watered as the setpoints in force say, all that is asked is approved.
type facility struct {
	b        *testing.B
	house    *house
	topics   wire.Topics
	water    []float64                // m3/m3, by zone
	force    map[string]wire.Setpoint // by topic of the setpoints
	approved int
}

func newFacility(b *testing.B, zones int, path string) *facility {
	b.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	settings := Settings{TopicRoot: "rhizostat", Clock: "telemetry", StateEvery: 5 * time.Minute}
	s, found := site.Parse("site.yaml", []byte(siteOf("north", zones)))
	if err := found.Err(); err != nil {
		b.Fatal(err)
	}
	l, err := ledger.Open(b.Context(), path, ledger.Options{})
	if err != nil {
		b.Fatal(err)
	}
	h, err := newHouse(b.Context(), settings, []*site.Site{s}, l, newMetrics("test"), 1, log)
	if err != nil {
		b.Fatal(err)
	}
	f := &facility{b: b, house: h, topics: wire.Topics{Root: "rhizostat", Site: "north"}, water: make([]float64, zones), force: map[string]wire.Setpoint{}}
	for i := range f.water {
		f.water[i] = 0.55
	}
	h.publish = f.take
	h.telemetry = func(zone int, r shard.Telemetry) { h.lots[0].shard.Telemetry(h.places[zone].index, r) }
	h.control = func(zone int, c shard.Control) { h.lots[0].shard.Control(h.places[zone].index, c) }
	return f
}

func (f *facility) take(_ int, m wire.Message, _ time.Time) {
	p, ok := wire.Parse(f.topics.Root, m.Topic)
	if !ok || m.Topic != f.topics.Setpoint(p.Zone) {
		return
	}
	delete(f.force, p.Zone)
	if len(m.Payload) == 0 {
		return
	}
	s, err := wire.ParseSetpoint(m.Payload)
	if err != nil {
		f.b.Fatal(err)
	}
	f.force[p.Zone] = *s
}

// step lets five minutes pass.
func (f *facility) step(at time.Time) {
	const volumeML, fullest = 6974, 0.60
	sun := math.Max(0, math.Sin(math.Pi*(at.Sub(at.Truncate(24*time.Hour)).Hours()-5)/14))
	for i, w := range f.house.workers {
		given := 0
		if s, ok := f.force[bench(i)]; ok {
			for _, shot := range s.Setpoints.Schedule {
				if !shot.At.After(at) && shot.At.After(at.Add(-5*time.Minute)) {
					given += shot.VolumeML
				}
			}
		}
		f.water[i] = math.Min(fullest, f.water[i]+(float64(given)-5*(0.2+2.4*sun))/volumeML)
		if given > 0 {
			f.house.receive(f.topics.Telemetry(bench(i), "zone"), fmt.Appendf(nil, `{"time":%q,"irrigation_volume":%d}`, at.Format(time.RFC3339), given), at)
		}
		for p, name := range []string{"p1", "p2"} {
			f.house.receive(f.topics.Telemetry(bench(i), name), fmt.Appendf(nil, `{"time":%q,"water_content":%.4f,"bulk_ec":1.1,"substrate_temperature":%.1f}`,
				at.Format(time.RFC3339), f.water[i]+0.03+0.001*math.Sin(float64(at.Unix()/300*int64(3+p))), 20+3*sun), at)
		}
		if a := w.desk.Standing(); a != nil && a.Approval.State == policy.StatePending {
			d := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: wire.Approve, By: "head grower"}
			payload, err := d.Marshal()
			if err != nil {
				f.b.Fatal(err)
			}
			f.approved++
			f.house.person(f.topics.Decision(bench(i)), payload, at, nil)
		}
	}
	f.house.lots[0].shard.DrainAll()
	f.house.lots[0].flush()
}

// BenchmarkWeeks gives by how much the heap of a zone at work grows from its first week to
// its fourth, which should be nothing: see B-grown/zone, beside what it holds then. It
// plays four weeks.
func BenchmarkWeeks(b *testing.B) {
	const zones, week = 10, 7 * 24 * time.Hour
	for b.Loop() {
		before := heap()
		f := newFacility(b, zones, filepath.Join(b.TempDir(), "ledger.db"))
		at := morning
		hold := func(until time.Duration) float64 {
			for ; at.Before(morning.Add(until)); at = at.Add(5 * time.Minute) {
				f.step(at)
			}
			return (heap() - before) / zones
		}
		first := hold(week)
		fourth := hold(4 * week)
		b.ReportMetric(fourth-first, "B-grown/zone")
		b.ReportMetric(fourth, "B/zone")
		if err := f.house.ledger.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
