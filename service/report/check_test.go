package report

import (
	"flag"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/plan"
	"rhizostat/policy/sensing"
)

var update = flag.Bool("update", false, "rewrite the goldens of this package")

// bench is the zone of the manual's example: 7 L pots of a coir mix.
func bench(id string) *policy.Settings {
	dryback := 0.10
	return &policy.Settings{
		Site: "north", Zone: id, Location: time.UTC, ContainerCount: 240, Quorum: 1, FeedEC: 2.2,
		Substrate: hydraulics.Substrate{Name: "coir-mix", TotalPorosity: 0.92, Provenance: hydraulics.FromSite, Source: "the site file",
			Retention: hydraulics.Retention{ThetaR: 0.08, ThetaS: 0.90, AlphaPerKPa: 1.6, N: 1.75}},
		Container: hydraulics.Container{Name: "pot-7l", HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18, Wall: hydraulics.Solid},
		Emitters:  policy.Emitters{PerContainer: 1, FlowLPerH: 2},
		Probes:    []policy.Probe{{ID: "p1", HeightCM: 7}, {ID: "p2", HeightCM: 9, SensingLengthCM: 5}},
		Band:      hydraulics.BandSpec{OvernightDryback: dryback, DrainFraction: 0.1}, Aeration: hydraulics.DefaultAeration,
		Limits: plan.Limits{MaxShotML: 300, MaxDailyML: 3000, MinIntervalMin: 15}, IssueBeforeDay: 12 * time.Hour, DecideBeforeFirstShot: 10 * time.Minute,
		Day: policy.DayMarks{Start: policy.DayMark{AfterMidnight: 6 * time.Hour}, End: policy.DayMark{Sun: policy.Sunset}},
	}
}

// slab is a container that is saturated when it has just drained.
func slab() *policy.Settings {
	s := bench("gutter-1")
	full, refill, ec := 0.80, 0.70, 3.0
	s.Substrate = hydraulics.Substrate{Name: "fibre", TotalPorosity: 0.95, Provenance: hydraulics.Fitted, Source: "fitted to 6 points of the site file", FitRMSE: 0.0042,
		Retention: hydraulics.Retention{ThetaR: 0.03, ThetaS: 0.92, AlphaPerKPa: 1.3, N: 2.4}}
	s.Container = hydraulics.Container{Name: "slab", HeightCM: 7.5, LengthCM: 100, WidthCM: 15, Wall: hydraulics.Solid}
	s.Probes = []policy.Probe{{ID: "p1", HeightCM: 3.5}, {ID: "scale", Calibration: sensing.Calibration{Kind: sensing.Weight}}}
	s.Band = hydraulics.BandSpec{FullPoint: &full, RefillPoint: &refill, OvernightDryback: 0.06, DrainFraction: 0.25, PoreEC: &ec}
	s.Emitters = policy.Emitters{}
	wetter := s.Band
	drier := 0.74
	wetter.FullPoint = &drier
	s.Stages = []policy.Stage{{Name: "ripening", From: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC), Band: wetter}}
	return s
}

// TestCheckWords holds the whole text against its golden, and its lines against
// a terminal's width.
func TestCheckWords(t *testing.T) {
	other := bench("bench-09")
	other.Container.HeightCM = 12
	var b strings.Builder
	err := Check(&b, []CheckedZone{{Settings: bench("bench-07")}, {Settings: bench("bench-08")}, {Settings: other}, {Settings: slab(), PercentIsHundredths: true}})
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(b.String(), "\n") {
		if len(line) > columns || strings.TrimRight(line, " ") != line {
			t.Errorf("%d columns: %q", len(line), line)
		}
	}
	const file = "testdata/check.txt"
	if *update {
		if err := os.WriteFile(file, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), b.String()); d != "" {
		t.Errorf("-want +got; -update rewrites it:\n%s", d)
	}
}

// TestCheckNumbers: the numbers printed are those of the physics, for a pot
// whose capacity the reference gives.
func TestCheckNumbers(t *testing.T) {
	s := bench("bench-07")
	p, err := hydraulics.NewProfile(s.Substrate, s.Container)
	if err != nil {
		t.Fatal(err)
	}
	// Frustum: pi h/12 (D2 + D d + d2), elementary geometry.
	if v, want := p.VolumeML(), math.Pi*20/12*(24*24+24*18+18*18); math.Abs(v-want) > 1e-6 {
		t.Errorf("volume %v, want %v", v, want)
	}
	var b strings.Builder
	if err := Check(&b, []CheckedZone{{Settings: s}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"240 x pot-7l of coir-mix: 6974 mL", "100 mL in 180 s, the largest shot in 540 s", "advice 12 h before it, decided 10 min before"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

// TestCheckRefuses settings that no container can have, and says of which zone.
func TestCheckRefuses(t *testing.T) {
	s := bench("bench-07")
	full := 0.95
	s.Band.FullPoint = &full
	err := Check(&strings.Builder{}, []CheckedZone{{Settings: s}})
	if err == nil || !strings.HasPrefix(err.Error(), "site north: zone bench-07: ") {
		t.Errorf("%v", err)
	}
}

func TestWrap(t *testing.T) {
	long := strings.Repeat("word ", 60)
	for _, line := range strings.Split(wrap(long, "  ", "    "), "\n") {
		if len(line) > columns {
			t.Errorf("%d columns", len(line))
		}
	}
	if got, want := strings.Fields(wrap(long, "", "  ")), strings.Fields(long); !cmp.Equal(got, want) {
		t.Error("words were lost")
	}
	if word := strings.Repeat("x", 150); wrap(word, "", "  ") != word+"\n" {
		t.Error("a long word was broken")
	}
}
