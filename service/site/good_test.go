package site

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/sensing"
)

// good loads one of the good files.
func good(t testing.TB, name string) (*Site, Diagnostics) {
	t.Helper()
	sites, said := Load(filepath.Join(goodFolder, name))
	if err := said.Err(); err != nil || len(sites) != 1 {
		t.Fatalf("%s: %d sites, %v", name, len(sites), err)
	}
	return sites[0], said
}

func (s *Site) zone(t testing.TB, id string) Zone {
	t.Helper()
	i := slices.IndexFunc(s.Zones, func(z Zone) bool { return z.Settings.Zone == id })
	if i < 0 {
		t.Fatalf("%s has no zone %s", s.Name, id)
	}
	return s.Zones[i]
}

// TestGoodFiles: every good file is sound, and only the built-in substrate is
// worth a warning.
func TestGoodFiles(t *testing.T) {
	sites, said := Load(goodFolder)
	if err := said.Err(); err != nil {
		t.Fatal(err)
	}
	if len(sites) < 8 {
		t.Errorf("%d good sites", len(sites))
	}
	for _, d := range said {
		if filepath.Base(d.File) != "built-in.yaml" || !strings.Contains(d.Summary, "illustrative") {
			t.Errorf("unexpected: %s", d)
		}
	}
	for _, s := range sites {
		if !slices.IsSortedFunc(s.Zones, func(a, b Zone) int { return strings.Compare(a.Settings.Zone, b.Settings.Zone) }) {
			t.Errorf("%s: zones are not sorted", s.Name)
		}
		for _, z := range s.Zones {
			checkWhole(t, z)
		}
	}
}

// checkWhole holds a zone of a sound site against what the engine relies on.
func checkWhole(t *testing.T, z Zone) {
	t.Helper()
	s := z.Settings
	p, err := hydraulics.NewProfile(s.Substrate, s.Container)
	if err != nil {
		t.Fatalf("%s/%s: %v", s.Site, s.Zone, err)
	}
	band, err := hydraulics.NewBand(p, s.Band)
	if err != nil {
		t.Fatalf("%s/%s: %v", s.Site, s.Zone, err)
	}
	for _, stage := range s.Stages {
		if _, err := hydraulics.NewBand(p, stage.Band); err != nil {
			t.Errorf("%s/%s, stage %s: %v", s.Site, s.Zone, stage.Name, err)
		}
	}
	if s.Quorum < 1 || s.Quorum > len(s.Probes) || len(s.Probes) > policy.MaxProbes {
		t.Errorf("%s/%s: quorum %d of %d probes", s.Site, s.Zone, s.Quorum, len(s.Probes))
	}
	l := s.Limits
	if l.MaxShotML < 1 || l.MaxShotML > l.MaxDailyML || l.MaxDailyML > 6*p.VolumeML() || l.MinIntervalMin < 1 {
		t.Errorf("%s/%s: limits %+v of a container of %.0f mL", s.Site, s.Zone, l, p.VolumeML())
	}
	if s.Band.OvernightDryback <= 0 || s.Band.OvernightDryback >= band.FullPoint {
		t.Errorf("%s/%s: overnight dryback %g under a full point of %g", s.Site, s.Zone, s.Band.OvernightDryback, band.FullPoint)
	}
	if s.Location == nil || s.IssueBeforeDay < time.Hour || s.DecideBeforeFirstShot <= 0 || s.ContainerCount < 1 {
		t.Errorf("%s/%s: %+v", s.Site, s.Zone, s)
	}
}

func TestGreenhouseBench(t *testing.T) {
	s, _ := good(t, "greenhouse-bench.yaml")
	if s.Name != "glasshouse-4" || s.TimeZone != "Europe/Madrid" || s.Latitude != 37.2 || s.Longitude != -1.9 || !slices.Equal(s.Climates, []string{"house-1", "house-2"}) {
		t.Errorf("%+v", s)
	}
	z := s.zone(t, "bench-07")
	got := z.Settings
	if got.Emitters.FlowMLPerS() != 2.0/3.6 || got.FeedEC != 2.2 || got.Climate != "house-1" || got.ContainerCount != 240 {
		t.Errorf("%+v", got)
	}
	if got.Day.Start.AfterMidnight != 6*time.Hour || got.Day.End.AfterMidnight != 18*time.Hour || got.Day.Start.Sun != policy.NotSun {
		t.Errorf("day %+v", got.Day)
	}
	if want := (policy.Probe{ID: "p2", HeightCM: 7, SensingLengthCM: 5}); got.Probes[1].ID != want.ID || got.Probes[1].SensingLengthCM != want.SensingLengthCM {
		t.Errorf("probe %+v, want %+v", got.Probes[1], want)
	}
	if *got.Band.MinAirFilledPorosity != 0.15 || *got.Band.MaxSuctionKPa != 5 || got.Band.FullPoint != nil || got.Band.OvernightDryback != 0.10 {
		t.Errorf("band %+v", got.Band)
	}
	if got.IssueBeforeDay != 12*time.Hour || got.DecideBeforeFirstShot != 10*time.Minute || z.Standing != (Standing{false, 7}) {
		t.Errorf("approval %+v %+v", got, z.Standing)
	}
	if got.Substrate.Provenance != hydraulics.FromSite || got.Substrate.Source != "suction table, spring batch" {
		t.Errorf("substrate %+v", got.Substrate)
	}
	if _, ok := got.Substrates["peat"]; !ok || len(got.Containers) != 1 {
		t.Errorf("a transplant may not name what it should: %v %v", got.Substrates, got.Containers)
	}
}

// TestDefaults: what is left out is what the table of keys says.
func TestDefaults(t *testing.T) {
	s, _ := good(t, "nursery-outside.yaml")
	z := s.zone(t, "row-1")
	got := z.Settings
	if got.Day.Start.Sun != policy.Sunrise || got.Day.End.Sun != policy.Sunset {
		t.Errorf("day %+v", got.Day)
	}
	if got.Container.BottomDiameterCM != 14 || got.Container.Wall != hydraulics.Solid {
		t.Errorf("container %+v", got.Container)
	}
	if got.Aeration != hydraulics.DefaultAeration || *got.Band.MinAirFilledPorosity != hydraulics.DefaultMinAirFilledPorosity || *got.Band.MaxSuctionKPa != hydraulics.DefaultMaxSuctionKPa {
		t.Errorf("the table's defaults are not the engine's: %+v %+v", got.Aeration, got.Band)
	}
	p, err := hydraulics.NewProfile(got.Substrate, got.Container)
	if err != nil {
		t.Fatal(err)
	}
	band, err := hydraulics.NewBand(p, got.Band)
	if err != nil {
		t.Fatal(err)
	}
	if want := min((band.FullPoint-band.RefillPoint)/2, 0.08); math.Abs(got.Band.OvernightDryback-want) > 0.0025+1e-12 {
		t.Errorf("overnight dryback %g, want %g to 0.005", got.Band.OvernightDryback, want)
	}
	if got.Limits.MaxShotML != math.Round(0.05*p.VolumeML()) || got.Limits.MinIntervalMin != 15 {
		t.Errorf("limits %+v", got.Limits)
	}
	if want := math.Max(math.Round(1.5*p.AvailableML(p.ContainerCapacity(), 10)), math.Round(0.5*p.VolumeML())); got.Limits.MaxDailyML != want {
		t.Errorf("max_daily_ml %g, want %g", got.Limits.MaxDailyML, want)
	}
	if got.Emitters.FlowMLPerS() != 0 || got.Climate != "" || got.Quorum != 1 || z.PercentIsHundredths {
		t.Errorf("%+v", z)
	}
}

// TestMergedZones: zones that share a mapping by YAML's merge key.
func TestMergedZones(t *testing.T) {
	s, _ := good(t, "indoor-room.yaml")
	one, two, three := s.zone(t, "table-1").Settings, s.zone(t, "table-2").Settings, s.zone(t, "table-3").Settings
	if one.Quorum != 2 || two.Quorum != 2 || len(three.Probes) != 3 || !s.Zones[2].PercentIsHundredths {
		t.Errorf("merged keys are missing: %+v", two)
	}
	if *three.Band.FullPoint != 0.50 || *one.Band.FullPoint != 0.52 || three.Band.PoreEC != nil {
		t.Errorf("a key of its own does not go before the merged one: %+v", three.Band)
	}
	if one.Priorities.Saturation != 2 || two.Priorities.Saturation != 2 || two.Priorities.Shots != 0.5 || one.Priorities.Shots != 1 {
		t.Errorf("priorities %+v %+v", one.Priorities, two.Priorities)
	}
	if one.Day.Start.AfterMidnight != 20*time.Hour || one.Day.End.AfterMidnight != 8*time.Hour {
		t.Errorf("day %+v", one.Day)
	}
}

// TestStages: a stage has the zone's band but for what it says, and an edge
// that it tells as physics sets the zone's plain number of that edge aside.
func TestStages(t *testing.T) {
	s, _ := good(t, "stages.yaml")
	z := s.zone(t, "field-1").Settings
	madrid, err := time.LoadLocation("Europe/Madrid")
	if err != nil {
		t.Fatal(err)
	}
	if len(z.Stages) != 3 || !z.Stages[0].From.Equal(time.Date(2026, 3, 1, 0, 0, 0, 0, madrid)) || !z.Stages[2].From.Equal(time.Date(2026, 6, 19, 22, 0, 0, 0, time.UTC)) {
		t.Fatalf("stages %+v", z.Stages)
	}
	rooting, growth, ripening := z.Stages[0].Band, z.Stages[1].Band, z.Stages[2].Band
	if *rooting.FullPoint != 0.55 || *rooting.RefillPoint != 0.46 || rooting.OvernightDryback != 0.03 || rooting.DrainFraction != 0.10 {
		t.Errorf("rooting %+v", rooting)
	}
	if growth.FullPoint != nil || *growth.MinAirFilledPorosity != 0.25 || *growth.RefillPoint != 0.42 || growth.OvernightDryback != 0.06 {
		t.Errorf("growth %+v", growth)
	}
	if *ripening.FullPoint != 0.55 || ripening.RefillPoint != nil || *ripening.MaxSuctionKPa != 4 || *ripening.PoreEC != 3.5 {
		t.Errorf("ripening %+v", ripening)
	}
}

func TestDeciders(t *testing.T) {
	s, _ := good(t, "deciders.yaml")
	if len(s.Deciders) != 2 || s.Deciders[0].Name != "head-grower" || len(s.Deciders[0].PublicKey) != 32 || s.Deciders[0].Zones != nil {
		t.Fatalf("%+v", s.Deciders)
	}
	if !slices.Equal(s.Deciders[0].May, []string{"approve", "reject", "withdraw"}) || !slices.Equal(s.Deciders[1].May, []string{"reject", "withdraw"}) || !slices.Equal(s.Deciders[1].Zones, []string{"a2"}) {
		t.Errorf("%+v", s.Deciders)
	}
	if z := s.zone(t, "a2"); z.Standing != (Standing{true, 4}) || z.Settings.IssueBeforeDay != 10*time.Hour || z.Settings.DecideBeforeFirstShot != 30*time.Minute {
		t.Errorf("%+v", z)
	}
}

func TestForeignTelemetry(t *testing.T) {
	s, _ := good(t, "foreign-telemetry.yaml")
	if len(s.Mappings) != 5 {
		t.Fatalf("%d mappings", len(s.Mappings))
	}
	plc := s.Mappings[0]
	if plc.Topic != "plc7/{zone}/{probe}/sensor" || !plc.PercentIsHundredths || *plc.Time != (TimeField{"/ts", "ms"}) {
		t.Errorf("%+v", plc)
	}
	if want := []Field{{sensing.WaterContent, "/vwc", "%"}, {sensing.BulkEC, "/ec/bulk", "dS/m"}, {sensing.SubstrateTemperature, "/t~1soil", ""}}; !slices.Equal(plc.JSON, want) {
		t.Errorf("%+v, want %+v", plc.JSON, want)
	}
	if m := s.Mappings[1]; m.Climate != "mast" || *m.Number != (Field{sensing.AirTemperature, "", "Cel"}) || m.JSON != nil {
		t.Errorf("%+v", m)
	}
	if m := s.Mappings[2]; m.Time.Unit != "rfc3339" || len(m.JSON) != 2 {
		t.Errorf("%+v", m)
	}
	if m := s.Mappings[4]; m.Zone != "z1" || m.Probe != "p2" || m.PercentIsHundredths {
		t.Errorf("%+v", m)
	}
}

func TestSlabs(t *testing.T) {
	s, _ := good(t, "slabs.yaml")
	z := s.zone(t, "gutter-1").Settings
	if z.Container.VolumeML() != 11250 || z.Emitters.PerContainer != 3 || z.Limits.MaxDailyML != 9000 {
		t.Errorf("%+v", z)
	}
	if tr := s.zone(t, "gutter-2").Settings; tr.Container.BottomWidthCM != 22 || tr.Day.End.Sun != policy.Sunset || tr.Day.Start.AfterMidnight != 7*time.Hour+30*time.Minute {
		t.Errorf("%+v", tr)
	}
}

// TestFitted: the curve meets the points, and calibrations carry what their
// kinds need.
func TestFitted(t *testing.T) {
	s, _ := good(t, "fitted.yaml")
	z := s.zone(t, "bed-1").Settings
	sub := z.Substrate
	if sub.Provenance != hydraulics.Fitted || !(sub.FitRMSE < 0.015) || sub.Source != "fitted to 7 points of the site file" {
		t.Errorf("%+v", sub)
	}
	for _, p := range [][2]float64{{0.1, 0.87}, {1, 0.60}, {5, 0.31}, {10, 0.24}} {
		if got := sub.Retention.WaterContent(p[0]); math.Abs(got-p[1]) > 0.03 {
			t.Errorf("at %g kPa the fit gives %.3f, measured %.3f", p[0], got, p[1])
		}
	}
	byID := map[string]sensing.Calibration{}
	for _, p := range z.Probes {
		byID[p.ID] = p.Calibration
	}
	if c := byID["cubic"]; c.Kind != "polynomial" || len(c.Polynomial) != 3 || c.PoreEC != "hilhorst" || c.Offset != 4.1 {
		t.Errorf("%+v", c)
	}
	if c := byID["table"]; len(c.Points) != 4 || !c.ECAtProbe || c.ECPerKelvin != 0.02 || c.Input != "permittivity" {
		t.Errorf("%+v", c)
	}
	if c := byID["scale"]; c.TareKG != 1.1 || c.CropKG != 0.4 || c.VolumeML != z.Container.VolumeML() {
		t.Errorf("%+v", c)
	}
	if c := byID["mass"]; c.BulkDensity != 0.12 {
		t.Errorf("%+v", c)
	}
	if c := byID["mended"]; c.Input != "water_content" || byID["mineral"].RhoadesE != 2.1 {
		t.Errorf("%+v", c)
	}
}
