package policy

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/hydraulics"
	"rhizostat/policy/sensing"
)

// A height that the site file changes holds, also where a snapshot has the old one.
func TestHeightOfTheSiteFileHolds(t *testing.T) {
	z, _ := lived(t, 1)
	s := bench()
	s.Probes[1].HeightCM = 15
	again, err := Restore(s, z.Snapshot())
	if err != nil {
		t.Fatal(err)
	}
	fresh, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := again.meanOf(1, 0.45), fresh.meanOf(1, 0.45); got != want {
		t.Errorf("at 15 cm a reading of 0.45 means %.4f after the restart; expected %.4f", got, want)
	}
	if got, want := again.probes[0].HeightCM, 7.0; got != want {
		t.Errorf("the other probe is at %v cm; expected %v", got, want)
	}
}

// Probes that are taken out, added or moved change the level that is seen, and no water
// has come with that.
func TestOtherProbesBringNoWater(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(t *testing.T, z *Zone) *Zone
		first  int     // of the probes that go on
		step   float64 // by which the one that goes on reads higher
	}{
		{"one is taken out", func(t *testing.T, z *Zone) *Zone {
			s := bench()
			s.Probes = s.Probes[1:]
			again, err := Restore(s, z.Snapshot())
			if err != nil {
				t.Fatal(err)
			}
			return again
		}, 1, 0},
		{"the only one is moved", func(t *testing.T, z *Zone) *Zone {
			s := bench()
			s.Probes = s.Probes[1:]
			again, err := Restore(s, z.Snapshot())
			if err != nil {
				t.Fatal(err)
			}
			at := instant(again.m.NowMs)
			for range 180 {
				at = at.Add(time.Minute)
				again.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: 0.54}))
			}
			again.Step(Event{Kind: Operator, At: at, Operator: &OperatorEvent{Kind: ProbeMoved, Probe: "p2", HeightCM: 12}})
			return again
		}, 1, 0.03},
	} {
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		feed := func(z *Zone, minutes, first int, step float64) {
			at := instant(z.m.NowMs)
			if z.m.NowMs == 0 {
				at = monday
			}
			for i := range minutes {
				at = at.Add(time.Minute)
				base := 0.50 - 0.00002*float64(at.Sub(monday)/time.Minute%(24*60)) + step
				for k := range z.settings.Probes {
					z.Step(heard(at, k, map[sensing.Signal]float64{sensing.WaterContent: base + []float64{-0.05, 0.05}[k+first] + 0.0005*float64(i%2)}))
				}
			}
		}
		feed(z, 2*24*60+600, 0, 0)
		z = c.change(t, z)
		before := z.shownTotals().IrrigationML
		feed(z, 240, c.first, c.step)
		if got := z.shownTotals().IrrigationML - before; got > 20 {
			t.Errorf("%s: %.0f mL of irrigation are counted; expected none", c.name, got)
		}
	}
}

// What the diagnosis gathered of a probe goes with the probe.
func TestDiagnosisKnowsTheProbesByName(t *testing.T) {
	z, _ := lived(t, 1)
	z.m.Diagnosis.Fast.Probes[0].High, z.m.Diagnosis.Fast.Probes[1].High = 0.111, 0.222
	s := bench()
	s.Probes = append([]Probe{{ID: "p0", HeightCM: 7}}, s.Probes[1])
	again, err := Restore(s, z.Snapshot())
	if err != nil {
		t.Fatal(err)
	}
	if w := again.m.Diagnosis.Fast.Probes; w[0].High != 0 || w[1].High != 0.222 {
		t.Errorf("a new probe has seen %v and p2 %v; expected 0 and 0.222", w[0].High, w[1].High)
	}
}

// The day's sums are of the last 24 h, however long the probes have been silent.
func TestSumsOfADayWhileProbesAreSilent(t *testing.T) {
	z, _ := lived(t, 3)
	at := instant(z.m.NowMs)
	for i := range 4 * 24 * 60 {
		at = at.Add(time.Minute)
		if at.Hour() == 12 && at.Minute() < 5 {
			z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationVolume: 200}))
		} else {
			z.Step(Event{Kind: Wake, At: at})
		}
		if i%(24*60) != 24*60-1 || i < 24*60 {
			continue
		}
		if got := z.state(at.UnixMilli()); math.Abs(got.IrrigationML24h-1000) > 60 || got.UptakeML24h > 3200 {
			t.Errorf("day %d of silence, 1000 mL a day: %.0f mL given and %.0f mL drunk in 24 h", i/(24*60)+1, got.IrrigationML24h, got.UptakeML24h)
		}
	}
}

// A stage whose band the new container cannot hold leaves the stage before, also after a
// restart.
func TestStageThatDoesNotFitStaysOutAfterARestart(t *testing.T) {
	spec := func(full, refill float64) hydraulics.BandSpec {
		return hydraulics.BandSpec{FullPoint: &full, RefillPoint: &refill, OvernightDryback: 0.05, DrainFraction: 0.1}
	}
	s := bench()
	s.Band = spec(0.40, 0.25)
	s.Stages = []Stage{{Name: "a", From: monday.Truncate(24 * time.Hour), Band: spec(0.43, 0.30)}, {Name: "b", From: monday.Truncate(24 * time.Hour).Add(48 * time.Hour), Band: spec(0.58, 0.50)}}
	s.Containers = map[string]hydraulics.Container{"tall": {Name: "tall", HeightCM: 40, TopDiameterCM: 24, BottomDiameterCM: 18, Wall: hydraulics.Solid}}
	z, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	at := monday.Add(9 * time.Hour)
	z.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: 0.40}))
	z.Step(Event{Kind: Operator, At: at.Add(time.Second), Operator: &OperatorEvent{Kind: Transplanted, Container: "tall"}})
	asked := false
	for h := range 60 {
		out := z.Step(heard(at.Add(time.Duration(h+1)*time.Hour), 0, map[sensing.Signal]float64{sensing.WaterContent: 0.40}))
		asked = asked || out.Advice != nil && len(out.Advice.Reasons) > 0 && out.Advice.Reasons[0].Code == "inspect-stage" && out.Advice.IssuedAt.After(monday.Add(47*time.Hour))
	}
	again, err := Restore(s, z.Snapshot())
	if err != nil {
		t.Fatal(err)
	}
	if len(again.plans) != len(z.plans) || again.m.Plans.Sequence != z.m.Plans.Sequence {
		t.Errorf("after a restart there are %d plans, number %d; expected %d, number %d: nobody hears what a restart proposes", len(again.plans), again.m.Plans.Sequence, len(z.plans), z.m.Plans.Sequence)
	}
	if z.ground.band != again.ground.band || z.ground.band.FullPoint != 0.43 {
		t.Errorf("the band is to %v and after a restart to %v; expected 0.43", z.ground.band.FullPoint, again.ground.band.FullPoint)
	}
	if !asked {
		t.Error("a stage began whose band the container cannot hold, and nobody was told")
	}
}
