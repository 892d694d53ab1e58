package site

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the goldens of this package")

const (
	badFolder  = "../../testdata/sites/bad"
	goodFolder = "../../testdata/sites/good"
)

// TestBadFiles holds every bad file against the words kept for it. Each has one
// mistake; what a library says of it is left out, so that a new version of the
// library breaks nothing here.
func TestBadFiles(t *testing.T) {
	files, err := filepath.Glob(badFolder + "/*.yaml")
	if err != nil || len(files) < 100 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	var got strings.Builder
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		s, said := Parse(filepath.Base(file), data)
		if s != nil {
			t.Errorf("%s was accepted", file)
		}
		if n := said.Mistakes(); n != 1 {
			t.Errorf("%s: %d mistakes, want exactly one:\n%s", file, n, said)
		}
		for _, d := range said {
			d.Cause = nil
			if path := strings.Split(d.Path, "."); d.Path != "" && strings.HasPrefix(d.Summary, path[len(path)-1]+":") {
				t.Errorf("the key stands twice in %s", d)
			}
			fmt.Fprintln(&got, d)
		}
	}
	golden(t, badFolder+"/words.txt", got.String())
}

// golden compares with a file, or rewrites it with -update.
func golden(t *testing.T, file, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("%s (-want +got); -update rewrites it:\n%s", file, d)
	}
}

// TestAllAtOnce is a file with many mistakes: all are said, in the order of
// their lines.
func TestAllAtOnce(t *testing.T) {
	s, said := Parse("many.yaml", []byte(`site: Many
time_zone: Nowhere/At_all
substrates:
  mix: {total_porosity: 92, retention: {theta_r: 0.9, theta_s: 0.5, alpha_per_kpa: 1.6, n: 1.75}}
containers:
  pot: {height_cm: 20 cm, top_diameter_cm: 24}
zones:
  z1:
    substrate: mixx
    contaner: pot
    day: {start: "25:00", end: "18:00"}
    probes: {p1: {height_cm: seven}}
    limits: {max_shot_ml: -1}
`))
	if s != nil {
		t.Error("a site was returned")
	}
	lines := map[int]bool{}
	last := 0
	for _, d := range said {
		lines[d.Line] = true
		if d.Line < last {
			t.Errorf("line %d after line %d", d.Line, last)
		}
		last = d.Line
	}
	for _, line := range []int{1, 2, 4, 6, 9, 10, 11, 12, 13} {
		if !lines[line] {
			t.Errorf("nothing is said of line %d:\n%s", line, said)
		}
	}
	if err := said.Err(); err == nil || strings.Count(err.Error(), "\n")+1 != said.Mistakes() {
		t.Errorf("Err does not print each mistake on a line: %v", err)
	}
}

// TestTooMany bounds what one file makes us say, and says that it is bounded.
func TestTooMany(t *testing.T) {
	var b strings.Builder
	b.WriteString("site: x\ntime_zone: UTC\nzones: {}\n")
	for i := range 5000 {
		fmt.Fprintf(&b, "k%d: 1\n", i)
	}
	_, said := Parse("f.yaml", []byte(b.String()))
	if len(said) != maxPerFile+1 || !strings.Contains(said[len(said)-1].Summary, "more are not shown") {
		t.Errorf("%d said, the last %q", len(said), said[len(said)-1])
	}
}
