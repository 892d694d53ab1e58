package policy

import (
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// A probe under water cannot tell how high the water stands. A pot whose probes stay at
// what the substrate holds at most is saturated, though the wettest mean that probes at
// 7 cm can tell (0.746) is one at which it is not yet (0.775).
func TestProbesUnderWater(t *testing.T) {
	for _, c := range []struct {
		name      string
		reading   float64
		height    float64
		kind      string
		minutes   int
		saturated bool
	}{
		{"for hours", 0.90, 7, "", 180, true},
		{"above what the substrate holds", 0.94, 7, "", 180, true},
		{"while a shot drains", 0.90, 7, "", 20, false},
		{"wet, not under water", 0.86, 7, "", 180, false},
		{"so low that a drained pot reads as much", 0.90, 1, "", 180, false},
		{"high enough to tell by itself", 0.90, 12, "", 5, true},
	} {
		s := bench()
		for i := range s.Probes {
			s.Probes[i].HeightCM = c.height
		}
		z, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		at := monday
		for m := range c.minutes + 1 {
			at = monday.Add(time.Duration(m) * time.Minute)
			for i := range s.Probes {
				e := Event{Kind: Reading, At: at, Stamp: at, Source: i}
				e.Values.Set(sensing.WaterContent, c.reading)
				z.Step(e)
			}
		}
		last := z.state(at.UnixMilli())
		if last.Saturated != c.saturated {
			t.Errorf("%s: saturated %v at %.3f m3/m3, share %.2f; expected %v", c.name, last.Saturated, last.WaterContent, last.SaturatedShare, c.saturated)
		}
		if c.saturated && (last.AerationMargin >= 0 || last.SaturatedShare <= s.Aeration.ToleratedShare) {
			t.Errorf("%s: margin %.2f and share %.2f of a saturated zone", c.name, last.AerationMargin, last.SaturatedShare)
		}
		if over, sd, ok := z.flooded(at.UnixMilli()); ok && (over > z.ground.profile.MaxMean() || over-2*sd > last.WaterContent) {
			t.Errorf("%s: %.3f +- %.3f lies outside what the pot can hold", c.name, over, sd)
		}
		if wants := float64(c.minutes-int(floodedAfter.Minutes())) * 60; c.height == 7 && c.saturated && (last.Totals.SaturationS < wants-600 || last.Totals.SaturationS > wants+600) {
			t.Errorf("%s: %.0f s of saturation counted; expected about %.0f", c.name, last.Totals.SaturationS, wants)
		}
		if !c.saturated && last.Totals.SaturationS > 0 {
			t.Errorf("%s: %.0f s of saturation counted", c.name, last.Totals.SaturationS)
		}
	}
}

// Noise about the ceiling does not end it: one look a little below is no drained container.
func TestUnderWaterThroughNoise(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	at := monday
	say := func(minutes int, reading float64) {
		for range minutes {
			at = at.Add(time.Minute)
			for i := range z.probes {
				z.Step(heard(at, i, map[sensing.Signal]float64{sensing.WaterContent: reading}))
			}
		}
	}
	say(120, 0.90)
	say(6, 0.885)
	if s := z.state(at.UnixMilli()); !s.Saturated {
		t.Error("not saturated, for readings 0.015 below the ceiling after two hours at it")
	}
	say(6, 0.86)
	if s := z.state(at.UnixMilli()); s.Saturated {
		t.Error("still saturated with readings 0.04 below the ceiling")
	}
}
