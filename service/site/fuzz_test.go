package site

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// FuzzParse: whatever the bytes, Parse returns, says something when it returns
// no site, keeps its diagnostics in order and in the file, and a site that it
// returns can be used.
func FuzzParse(f *testing.F) {
	for _, folder := range []string{goodFolder, badFolder} {
		files, err := filepath.Glob(folder + "/*.yaml")
		if err != nil {
			f.Fatal(err)
		}
		for _, file := range files {
			data, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	f.Add([]byte("a: &x [*x]\n"))
	f.Add([]byte("zones: &x {z1: *x}\n"))
	f.Add([]byte("zones: {z1: &x {<<: *x}}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, said := Parse("f.yaml", data)
		if (s == nil) != (said.Mistakes() > 0) {
			t.Fatalf("site %v with %d mistakes", s != nil, said.Mistakes())
		}
		// YAML also breaks lines at carriage returns and three Unicode marks.
		lines, last := 2, 0
		for _, c := range string(data) {
			if strings.ContainsRune("\n\r\u0085\u2028\u2029", c) {
				lines++
			}
		}
		for _, d := range said {
			if d.Line < 0 || d.Line > lines || d.Line < last && d.Line > 0 || strings.ContainsAny(d.Words(), "\n") {
				t.Fatalf("line %d of %d, after %d: %q", d.Line, lines, last, d)
			}
			last = d.Line
		}
		if s == nil {
			return
		}
		for _, z := range s.Zones {
			checkWhole(t, z)
			z.Settings.DayAt(time.Date(2026, 3, 29, 12, 0, 0, 0, time.UTC))
		}
	})
}

// TestBombs: files that are small on disk and large in meaning are refused, and
// soon.
func TestBombs(t *testing.T) {
	var levels strings.Builder
	levels.WriteString("l0: &l0 [x, x, x, x, x, x, x, x, x, x]\n")
	for i := 1; i < 12; i++ {
		fmt.Fprintf(&levels, "l%d: &l%d [%s]\n", i, i, strings.TrimSuffix(strings.Repeat(fmt.Sprintf("*l%d, ", i-1), 10), ", "))
	}
	var probes, zones strings.Builder
	for i := range 400 {
		fmt.Fprintf(&probes, "p%d: {height_cm: 7}, ", i)
	}
	fmt.Fprintf(&zones, "x: &p {%s}\nzones:\n", strings.TrimSuffix(probes.String(), ", "))
	for i := range 4000 {
		fmt.Fprintf(&zones, "  z%d: {probes: *p}\n", i)
	}
	merges := "m0: &m0 {a: 1}\n"
	for i := 1; i < 30; i++ {
		merges += fmt.Sprintf("m%d: &m%d {<<: [*m%d, *m%d]}\n", i, i, i-1, i-1)
	}
	merges += "zones: {z: {<<: *m29}}\n"
	tests := map[string]struct{ text, want string }{
		"levels": {levels.String(), "is not a key here"},
		"zones":  {zones.String(), "aliases make this file more than"},
		"merges": {merges, "merge keys stand too deep"},
		"deep":   {strings.Repeat("[", 100000), "the [ that starts here is not closed"},
		"closed": {strings.Repeat("[", 9000) + strings.Repeat("]", 9000), "stands where the site's keys should"},
		"big":    {strings.Repeat("#", maxFile+1), "at most 64 MiB"},
	}
	for name, tt := range tests {
		s, said := Parse("f.yaml", []byte(tt.text))
		if s != nil || !strings.Contains(said.String(), tt.want) {
			t.Errorf("%s: want %q, said\n%.2000s", name, tt.want, said)
		}
	}
}

// farm writes a site of many zones as a program would.
func farm(zones int) []byte {
	var b strings.Builder
	b.WriteString(strings.Split(strings.Replace(small, "NAME", "farm", 1), "zones:")[0] + "climates: {house: {}}\nzones:\n")
	for i := range zones {
		fmt.Fprintf(&b, `  bench-%05d:
    substrate: mix
    container: pot
    container_count: 240
    emitters: {per_container: 1, flow_l_per_h: 2.0}
    climate: house
    day: {start: "06:00", end: "18:00"}
    probes: {p1: {height_cm: 7}, p2: {height_cm: 7}}
    feed_ec: 2.2
    band: {min_air_filled_porosity: 0.%d, max_suction_kpa: 5, overnight_dryback: 0.10, drain_fraction: 0.10}
    limits: {max_shot_ml: 300, max_daily_ml: 3000, min_interval_min: 15}
`, i, 15+i%5)
	}
	return []byte(b.String())
}

func BenchmarkParse(b *testing.B) {
	for _, zones := range []int{20, 200, 2000} {
		data := farm(zones)
		b.Run(fmt.Sprintf("zones=%d", zones), func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			b.ReportAllocs()
			for b.Loop() {
				if s, said := Parse("farm.yaml", data); s == nil || len(s.Zones) != zones {
					b.Fatal(said)
				}
			}
		})
	}
}
