package forecast

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func flat(steps int, uptake float64) *Situation {
	s := &Situation{WaterContent: 0.55, VolumeML: 7000, Capacity: 0.62, Capture: 0.9, DrainTimeS: 900, UptakeML: make([]float64, steps)}
	for k := range s.UptakeML {
		s.UptakeML[k] = uptake
	}
	return s
}

func TestForwardDriesByTheUptake(t *testing.T) {
	s := flat(12, 7)
	var run Run
	s.Forward(nil, &run)
	if got, want := run.WaterContent[12], 0.55-12*7.0/7000; math.Abs(got-want) > 1e-12 {
		t.Errorf("after an hour of 7 mL a step: %v, want %v", got, want)
	}
}

func TestForwardDrainsAboveCapacityWithItsTime(t *testing.T) {
	s := flat(12, 0)
	s.WaterContent = 0.66
	var run Run
	s.Forward(nil, &run)
	want := 0.62 + 0.04*math.Exp(-3600/900.0)
	if got := run.WaterContent[12]; math.Abs(got-want) > 1e-12 {
		t.Errorf("an hour after standing 0.04 above capacity: %v, want %v", got, want)
	}
}

func TestForwardOfADryPotNeverFallsBelowWhereUptakeEnds(t *testing.T) {
	s := flat(Steps24h*3, 40)
	s.UptakeFullAt, s.UptakeNoneAt = 0.3, 0.2
	var run Run
	s.Forward(nil, &run)
	for k, w := range run.WaterContent {
		if w < 0.2 {
			t.Fatalf("step %d: %v is below 0.2, where uptake ends", k, w)
		}
	}
	if end := run.WaterContent[len(run.WaterContent)-1]; end > 0.22 {
		t.Errorf("three days of hard drying end at %v, expected close to 0.2", end)
	}
}

func TestForwardPanicsOnDisorder(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("shots out of order went through")
		}
	}()
	flat(12, 1).Forward([]Shot{{Step: 5, VolumeML: 1}, {Step: 2, VolumeML: 1}}, &Run{})
}

// The balance closes whatever the shots, and water content stays possible.
func TestForwardBalanceCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := flat(rapid.IntRange(1, 400).Draw(t, "steps"), 0)
		s.WaterContent = rapid.Float64Range(0.1, 0.9).Draw(t, "water")
		s.Capture = rapid.Float64Range(0, 1).Draw(t, "capture")
		s.Capacity = rapid.Float64Range(0.3, 0.9).Draw(t, "capacity")
		s.Ceiling = rapid.Float64Range(0.9, 1).Draw(t, "ceiling")
		s.UptakeFullAt, s.UptakeNoneAt = 0.25, 0.1
		for k := range s.UptakeML {
			s.UptakeML[k] = rapid.Float64Range(0, 60).Draw(t, "uptake")
		}
		var shots []Shot
		given, at := 0.0, 0
		for at < len(s.UptakeML) {
			v := rapid.Float64Range(0, 900).Draw(t, "volume")
			shots = append(shots, Shot{at, v})
			given += v
			at += rapid.IntRange(0, 90).Draw(t, "gap")
			if len(shots) > 200 {
				break
			}
		}
		if n := len(shots); shots[n-1].Step >= len(s.UptakeML) {
			given -= shots[n-1].VolumeML
		}
		var run Run
		s.Forward(shots, &run)
		left := given
		for k := range s.UptakeML {
			left -= run.DrainML[k] + run.UptakeML[k]
			if run.DrainML[k] < 0 || run.UptakeML[k] < 0 {
				t.Fatalf("step %d: drain %v, uptake %v", k, run.DrainML[k], run.UptakeML[k])
			}
		}
		for k, w := range run.WaterContent {
			if !(w >= 0 && w <= 1) {
				t.Fatalf("step %d: water content %v", k, w)
			}
		}
		stored := s.VolumeML * (run.WaterContent[len(s.UptakeML)] - s.WaterContent)
		if math.Abs(stored-left) > 1e-6 {
			t.Fatalf("stored %v mL, balance leaves %v mL", stored, left)
		}
	})
}

func BenchmarkForward(b *testing.B) {
	s := flat(Steps24h, 5)
	shots := make([]Shot, 12)
	for i := range shots {
		shots[i] = Shot{Step: 100 + 8*i, VolumeML: 120}
	}
	var run Run
	b.ReportAllocs()
	for b.Loop() {
		s.Forward(shots, &run)
	}
}
