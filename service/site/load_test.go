package site

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const small = `site: NAME
time_zone: UTC
substrates: {mix: {total_porosity: 0.92, retention: {theta_r: 0.08, theta_s: 0.90, alpha_per_kpa: 1.6, n: 1.75}}}
containers: {pot: {height_cm: 20, top_diameter_cm: 24}}
zones: {z1: {substrate: mix, container: pot, day: {start: "06:00", end: "18:00"}, probes: {p1: {height_cm: 7}}}}
`

// write puts files into a folder, by name.
func write(t *testing.T, folder string, files map[string]string) {
	t.Helper()
	for name, text := range files {
		path := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func TestLoad(t *testing.T) {
	folder := t.TempDir()
	site := func(name string) string { return strings.Replace(small, "NAME", name, 1) }
	write(t, folder, map[string]string{
		"b.yaml": site("bravo"), "a.yml": site("alpha"), "broken.yaml": site("Broken"), "notes.txt": "no site",
		".hidden.yaml": site("hidden"), "deeper/c.yaml": site("charlie"), "none/readme": "",
	})
	write(t, folder+"-doubled", map[string]string{"one.yaml": site("same"), "two.yaml": site("same")})
	tests := []struct {
		pattern, sites, said string
	}{
		{"b.yaml", "bravo", ""},
		{"", "alpha bravo", "cannot be an id"},
		{"[ab].y*ml", "alpha bravo", ""},
		{"deeper/*.yaml", "charlie", ""},
		{"broken.yaml", "", "cannot be an id"},
		{"missing.yaml", "", "no such file"},
		{"none", "", "the folder has no *.yaml"},
		{"[", "", "syntax error in pattern"},
		{"../" + filepath.Base(folder) + "-doubled", "same", "the site same is also in"},
	}
	for _, tt := range tests {
		sites, said := Load(filepath.Join(folder, tt.pattern))
		var names []string
		for _, s := range sites {
			names = append(names, s.Name)
		}
		if got := strings.Join(names, " "); got != tt.sites {
			t.Errorf("%s: sites %q, want %q", tt.pattern, got, tt.sites)
		}
		if (tt.said == "") != (len(said) == 0) || !strings.Contains(said.String(), tt.said) {
			t.Errorf("%s: said %q, want %q", tt.pattern, said, tt.said)
		}
	}
}

// TestUnreadable: a file that cannot be read is said, and the others are read.
func TestUnreadable(t *testing.T) {
	folder := t.TempDir()
	write(t, folder, map[string]string{"a.yaml": strings.Replace(small, "NAME", "alpha", 1)})
	if err := os.Symlink("nowhere", filepath.Join(folder, "gone.yaml")); err != nil {
		t.Fatal(err)
	}
	sites, said := Load(folder)
	if len(sites) != 1 || said.Mistakes() != 1 || !strings.Contains(said[0].String(), "gone.yaml: the file cannot be read (no such file or directory)") {
		t.Errorf("%d sites, %s", len(sites), said)
	}
}

// TestUnits: the table of units is the intake's; the file's mistake is ours.
func TestUnits(t *testing.T) {
	text := strings.Replace(small, "NAME", "north", 1) + `telemetry: [{topic: "a/{zone}/{probe}", number: {signal: water_content, unit: furlong}}]` + "\n"
	var asked []string
	rd := Reader{Unit: func(signal, unit string) error {
		asked = append(asked, signal+" in "+unit)
		return os.ErrInvalid
	}}
	s, said := rd.Parse("f.yaml", []byte(text))
	if s != nil || said.Mistakes() != 1 || said[0].Line != 6 || said[0].Path != "telemetry[0].number.unit" {
		t.Errorf("%s", said)
	}
	if len(asked) != 1 || asked[0] != "water_content in furlong" {
		t.Errorf("asked %q", asked)
	}
	if s, said := Parse("f.yaml", []byte(text)); s == nil {
		t.Errorf("without a table of units any passes: %s", said)
	}
}

// TestWarnings: a site with warnings alone is returned all the same. A curve in
// the wrong unit leaves no band either, which is a mistake of its own.
func TestWarnings(t *testing.T) {
	tests := []struct{ from, to, want string }{
		{"alpha_per_kpa: 1.6", "alpha_per_kpa: 0.0016", "nearly all of theta_s"},
		{"alpha_per_kpa: 1.6, n: 1.75", "alpha_per_kpa: 100, n: 2.5", "hardly more than theta_r"},
		{"substrate: mix", "substrate: peat", "illustrative"},
		{"probes:", "band: {full_point: 0.5, min_air_filled_porosity: 0.2}, probes:", "has no say beside full_point"},
		{"probes:", "band: {refill_point: 0.4, max_suction_kpa: 3}, probes:", "has no say beside refill_point"},
		{"probes:", "band: {full_point: 0.5, refill_point: 0.4, overnight_dryback: 0.2}, probes:", "ends below the refill point"},
		{"probes:", "aeration: {critical_air_filled_porosity: 0.3, tolerated_share: 0.3}, probes:", "already counts as saturated"},
		{"probes:", "limits: {max_daily_ml: 90000}, probes:", "limits are per container"},
		{"probes:", "emitters: {per_container: 1, flow_l_per_h: 1}, limits: {max_shot_ml: 300, min_interval_min: 15}, probes:", "the largest shot, 300 mL, runs for 18 min and shots are 15 min apart"},
		{"n: 1.75}", "points: [[1, 0.62], [3, 0.45], [5, 0.24], [7, 0.23], [10, 0.22]]}", "the curve misses the points"},
	}
	for _, tt := range tests {
		text := strings.Replace(small, tt.from, tt.to, 1)
		if strings.HasPrefix(tt.to, "points") {
			text = strings.Replace(small, "{theta_r: 0.08, theta_s: 0.90, alpha_per_kpa: 1.6, n: 1.75}", "{"+tt.to, 1)
		}
		s, said := Parse("f.yaml", []byte(strings.Replace(text, "NAME", "north", 1)))
		if (s == nil) != (said.Mistakes() > 0) || len(said.Warnings()) == 0 || !strings.Contains(said.Warnings().String(), tt.want) {
			t.Errorf("%s: site %v, said %q, want a warning with %q", tt.to, s != nil, said, tt.want)
		}
		if strings.Contains(said.String(), "f.yaml: ") {
			t.Errorf("%s: a warning without its place: %s", tt.to, said)
		}
	}
	polar := strings.NewReplacer("NAME", "north", "time_zone: UTC", "time_zone: UTC\nlatitude: 69\nlongitude: 19", `{start: "06:00", end: "18:00"}`, "{}").Replace(small)
	if s, said := Parse("f.yaml", []byte(polar)); s == nil || !strings.Contains(said.String(), "does not rise or set") {
		t.Errorf("polar: %s", said)
	}
}
