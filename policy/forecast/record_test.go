package forecast

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"

	"pgregory.net/rapid"

	"rhizostat/policy/learning"
)

// A record and a zone share the 8 KiB of a snapshot with the rest.
func TestRecordIsSmallAndFixed(t *testing.T) {
	n, z := binary.Size(Record{}), binary.Size(learning.Zone{})
	t.Logf("a record is %d bytes, a zone %d", n, z)
	if n < 0 || z < 0 || n+z > 6760 {
		t.Errorf("record and zone take %d and %d bytes; expected a fixed size of at most 6760 together", n, z)
	}
}

// Whatever the errors' distribution, a tenth misses in the long run.
func TestIntervalFindsItsWidth(t *testing.T) {
	draw := map[string]func(u float64) float64{
		"normal":       func(u float64) float64 { return math.Sqrt2 * math.Erfinv(2*u-1) },
		"heavy tails":  func(u float64) float64 { return math.Tan(math.Pi * (u - 0.5)) },
		"lopsided":     func(u float64) float64 { return -math.Log(1-u) - 0.2 },
		"ten times so": func(u float64) float64 { return 10 * math.Sqrt2 * math.Erfinv(2*u-1) },
	}
	for name, f := range draw {
		stretch, random := float32(z90), uint64(1)
		miss, n := 0, 0
		for k := range int32(6000) {
			random = random*6364136223846793005 + 1442695040888963407
			u := (float64(random>>11) + 0.5) / (1 << 53)
			out := math.Abs(f(u)) > float64(stretch)
			if k >= 1000 {
				n++
				if out {
					miss++
				}
			}
			adapt(&stretch, out, k, 0.03, 0.3)
		}
		if share := float64(miss) / float64(n); share < 0.08 || share > 0.12 {
			t.Errorf("%s: %.3f outside a 90 %% interval", name, share)
		}
	}
}

// The published spread grows from now on and holds its middle.
func TestPublishedBandsAreWhole(t *testing.T) {
	s := newSeason(t, 1)
	s.play(3, func(float64, *Scored) {})
	var sit Situation
	var p Published
	var m Scratch
	Build(&s.zone, &s.c, s.zone.AtMs, Steps24h, &sit)
	s.record.Publish(&s.zone, &s.c, &sit, s.shots(sit.At), &p, &m)
	for name, b := range map[string]*Band{"plan": &p.Plan, "no water": &p.NoWater, "as usual": &p.AsUsual} {
		if len(b.WaterContent) != Steps24h+1 || len(b.Low) != Steps24h+1 || len(b.High) != Steps24h+1 {
			t.Fatalf("%s has %d, %d, %d values, expected 289", name, len(b.WaterContent), len(b.Low), len(b.High))
		}
		for k, w := range b.WaterContent {
			if !(b.Low[k] <= w && w <= b.High[k] && b.Low[k] >= 0 && b.High[k] <= 1) {
				t.Fatalf("%s step %d: %v in %v to %v", name, k, w, b.Low[k], b.High[k])
			}
			if k > 0 && b.High[k]-b.Low[k] < b.High[k-1]-b.Low[k-1]-1e-9 {
				t.Fatalf("%s step %d: the interval shrinks", name, k)
			}
		}
		if b.WaterContent[0] != sit.WaterContent {
			t.Errorf("%s starts at %v, the zone is at %v", name, b.WaterContent[0], sit.WaterContent)
		}
	}
	for k := range p.NoWater.WaterContent[1:] {
		if p.NoWater.WaterContent[k+1] > p.NoWater.WaterContent[k] || p.Plan.WaterContent[k] < p.NoWater.WaterContent[k]-1e-12 {
			t.Fatalf("step %d: no water %v after %v, plan %v", k, p.NoWater.WaterContent[k+1], p.NoWater.WaterContent[k], p.Plan.WaterContent[k])
		}
	}
}

// A plan that was not carried out is not scored.
func TestScoresThePlanOnlyAsFarAsExecuted(t *testing.T) {
	s := newSeason(t, 2)
	s.timer.Count = 0 // nobody waters, while the record is told of shots
	planned := 0
	s.play(2, func(float64, *Scored) {})
	var sit Situation
	var p Published
	var m Scratch
	var out [int(variantCount) * HorizonCount]Scored
	at := s.zone.AtMs + IssueEvery - s.zone.AtMs%IssueEvery
	s.zone.Observe(&s.c, at, s.zone.Level, 0.002)
	Build(&s.zone, &s.c, at, Steps24h, &sit)
	shots := []Shot{{Step: 6, VolumeML: 0.03 * s.c.VolumeML}}
	s.record.Publish(&s.zone, &s.c, &sit, shots, &p, &m)
	s.record.Issue(&s.zone, &sit, at, &p)
	for k := int64(1); k <= 2; k++ {
		s.zone.Observe(&s.c, at+k*IssueEvery, s.zone.Level, 0.002)
		n := s.record.Due(&s.zone, &s.c, at+k*IssueEvery, &out)
		for _, o := range out[:n] {
			if o.Variant == Plan && o.Horizon == 0 && k == 2 {
				planned++
				if !o.NotAsExecuted {
					t.Error("a plan of water that nobody gave was scored")
				}
			}
		}
	}
	if planned != 1 {
		t.Errorf("%d plans came due, expected one", planned)
	}
}

// A record restored from its bytes goes on exactly.
func TestRecordSnapshotIsExact(t *testing.T) {
	s := newSeason(t, 4)
	s.play(2, func(float64, *Scored) {})
	var b bytes.Buffer
	if err := binary.Write(&b, binary.LittleEndian, &s.record); err != nil {
		t.Fatal(err)
	}
	var back Record
	if err := binary.Read(&b, binary.LittleEndian, &back); err != nil {
		t.Fatal(err)
	}
	if back != s.record {
		t.Error("the record changed on its way through bytes")
	}
}

// Forecasts of anything that learning can hold are numbers.
func TestForecastsStayNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &learning.Constants{VolumeML: rapid.Float64Range(50, 50000).Draw(t, "volume"), DesignCapacity: 0.6, MinMean: 0.1, StressMean: 0.25, MaxMean: 0.9, DayStartS: 21600, DayEndS: 64800}
		var z learning.Zone
		var r Record
		var sit Situation
		var p Published
		var m Scratch
		var out [int(variantCount) * HorizonCount]Scored
		at := int64(1_700_000_000_000)
		for range rapid.IntRange(1, 120).Draw(t, "readings") {
			at += int64(rapid.SampledFrom([]int{1, 300, 1800, 1800, 1800, 7200, 90000}).Draw(t, "wait")) * 1000
			z.Observe(c, at, rapid.Float64Range(0, 1).Draw(t, "water"), rapid.Float64Range(0, 0.1).Draw(t, "sd"))
			if rapid.Bool().Draw(t, "told") {
				z.Water(c, at, rapid.Float64Range(0, 3000).Draw(t, "ml"), rapid.Bool().Draw(t, "known"))
			}
			half := at - at%IssueEvery
			for _, o := range out[:r.Due(&z, c, half, &out)] {
				if math.IsNaN(o.Error) || math.IsNaN(o.CRPS) {
					t.Fatalf("scored %+v", o)
				}
			}
			Build(&z, c, half, Steps24h, &sit)
			shots := []Shot{{Step: rapid.IntRange(0, 287).Draw(t, "step"), VolumeML: rapid.Float64Range(0, 5000).Draw(t, "shot")}}
			r.Publish(&z, c, &sit, shots, &p, &m)
			r.Issue(&z, &sit, half, &p)
			for _, b := range []*Band{&p.Plan, &p.NoWater, &p.AsUsual} {
				for k := range b.WaterContent {
					if !(b.Low[k] >= 0 && b.Low[k] <= b.High[k] && b.High[k] <= 1 && b.WaterContent[k] >= 0 && b.WaterContent[k] <= 1) {
						t.Fatalf("step %d: %v in %v to %v", k, b.WaterContent[k], b.Low[k], b.High[k])
					}
				}
			}
		}
		if q := r.Confidence(); !(q >= 0 && q <= 1) {
			t.Fatalf("confidence %v", q)
		}
	})
}

func BenchmarkPublish(b *testing.B) {
	s := newSeason(b, 0)
	s.play(3, func(float64, *Scored) {})
	var sit Situation
	var p Published
	var m Scratch
	shots := s.shots(s.f.Now())
	Build(&s.zone, &s.c, s.zone.AtMs, Steps24h, &sit)
	s.record.Publish(&s.zone, &s.c, &sit, shots, &p, &m)
	b.ReportAllocs()
	for b.Loop() {
		Build(&s.zone, &s.c, s.zone.AtMs, Steps24h, &sit)
		s.record.Publish(&s.zone, &s.c, &sit, shots, &p, &m)
	}
}

func BenchmarkDueAndIssue(b *testing.B) {
	s := newSeason(b, 0)
	s.play(3, func(float64, *Scored) {})
	var sit Situation
	var p Published
	var m Scratch
	var out [int(variantCount) * HorizonCount]Scored
	Build(&s.zone, &s.c, s.zone.AtMs, Steps24h, &sit)
	s.record.Publish(&s.zone, &s.c, &sit, nil, &p, &m)
	at := s.zone.AtMs - s.zone.AtMs%IssueEvery
	b.ReportAllocs()
	for b.Loop() {
		r := s.record
		r.Due(&s.zone, &s.c, at, &out)
		r.Issue(&s.zone, &sit, at, &p)
	}
}
