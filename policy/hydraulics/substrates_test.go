package hydraulics

import (
	"slices"
	"testing"
)

func TestBuiltIns(t *testing.T) {
	names := BuiltInNames()
	if !slices.IsSorted(names) || len(slices.Compact(slices.Clone(names))) != len(names) {
		t.Errorf("names %v are not sorted and distinct", names)
	}
	for _, name := range names {
		s, ok := BuiltIn(name)
		if !ok || s.Name != name {
			t.Errorf("%s: got %q, %v", name, s.Name, ok)
		}
		if err := s.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if s.Source == "" || (s.Provenance != Published && s.Provenance != Illustrative) {
			t.Errorf("%s rests on %q, source %q", name, s.Provenance, s.Source)
		}
	}
	for _, want := range []string{"peat", "coir", "pine-bark", "peat-perlite", "coir-perlite", "stone-wool", "loam"} {
		if !slices.Contains(names, want) {
			t.Errorf("no %s", want)
		}
	}
	if s, ok := BuiltIn("unobtainium"); ok {
		t.Errorf("got %+v", s)
	}
}

// TestAnchors: an illustrative row meets the air or water that its source names.
// The published numbers of peat, coir, bark and stone wool are held in the
// container references; here are the two that rest on ranges.
func TestAnchors(t *testing.T) {
	for _, c := range []struct {
		name     string
		low, top float64 // air-filled porosity of a drained core, m3/m3
	}{
		{"peat-perlite", 0.15, 0.25},
		{"coir-perlite", 0.13, 0.30},
	} {
		s, _ := BuiltIn(c.name)
		p, err := NewProfile(s, core)
		if err != nil {
			t.Fatal(err)
		}
		if air := p.AirFilledPorosity(p.ContainerCapacity()); air < c.low+0.02 || air > c.top-0.02 {
			t.Errorf("%s keeps %.3f air in a core, its source %g to %g", c.name, air, c.low, c.top)
		}
	}
}

func TestSubstrateRefusals(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Substrate)
		fields []string
	}{
		{"porosity", func(s *Substrate) { s.TotalPorosity = 92 }, []string{"total_porosity"}},
		{"more water than pores", func(s *Substrate) { s.TotalPorosity = 0.85 }, []string{"retention.theta_s"}},
		{"density", func(s *Substrate) { s.BulkDensity = -1 }, []string{"bulk_density"}},
		{"several", func(s *Substrate) { s.Retention.N = 0; s.Retention.AlphaPerKPa = 0 }, []string{"retention.alpha_per_kpa", "retention.n"}},
	} {
		s := coirMix
		c.change(&s)
		var got []string
		for _, f := range FieldErrors(s.Validate()) {
			got = append(got, f.Field)
		}
		if !slices.Equal(got, c.fields) {
			t.Errorf("%s: faults of %v, want %v", c.name, got, c.fields)
		}
	}
	if err := coirMix.Validate(); err != nil {
		t.Error(err)
	}
}
