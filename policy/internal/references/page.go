package references

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Page counts the checks of one package and prints them.
type Page struct {
	File   string // in testdata/references
	Title  string
	Folder string // of the package, as `go test` is told it

	lines []*line
}

// line is one of the printed table.
type line struct {
	quantity, source, tolerance string
	checks                      int
	worst                       float64 // difference of the row nearest to its tolerance
	ratio                       float64 // worst over its tolerance
}

// Hold compares a result with a row, by the row's own tolerance, and counts it
// under a quantity and a source.
func (p *Page) Hold(t testing.TB, r Row, quantity, source string, got float64) {
	t.Helper()
	if math.IsNaN(got) {
		t.Errorf("%s %s: NaN", r.ID, quantity)
		return
	}
	diff, tolerance, shown, err := r.distance(got)
	if err != nil {
		t.Fatalf("%s: %v", r.ID, err)
	}
	if diff > tolerance {
		t.Errorf("%s %s: got %.17g, want %s %s within %s (%s)", r.ID, quantity, got, r.Expected, r.Unit, r.Tolerance, r.Source)
	}
	for _, l := range p.lines {
		if l.quantity == quantity && l.source == source {
			l.checks++
			if ratio := diff / tolerance; ratio > l.ratio || (ratio == l.ratio && diff > l.worst) {
				l.worst, l.ratio, l.tolerance = diff, ratio, shown
			}
			return
		}
	}
	p.lines = append(p.lines, &line{quantity: quantity, source: source, tolerance: shown, checks: 1, worst: diff, ratio: diff / tolerance})
}

// Each runs check over the chosen rows of a file in testdata, and over all rows of
// the fuller set beside the repository where that is there. The page counts the
// chosen ones only, as the repository holds them.
func (p *Page) Each(t *testing.T, file, full string, check func(*testing.T, Row)) {
	t.Run("chosen", func(t *testing.T) {
		for _, r := range Read(t, file) {
			check(t, r)
		}
	})
	t.Run("all", func(t *testing.T) {
		path := Beside(full)
		if _, err := os.Stat(path); err != nil {
			t.Skip("the full reference set is not beside the repository; the chosen rows have run")
		}
		kept := p.lines
		defer func() { p.lines = kept }()
		p.lines = nil
		rows := read(t, path)
		for _, r := range rows {
			check(t, r)
		}
		t.Logf("%d rows", len(rows))
	})
}

// Beside is where a file of the fuller set would be.
func Beside(file string) string { return filepath.Join("..", "..", "..", "shared", "reference", file) }

// Main runs a package's tests, prints what was checked under -v, and rewrites the
// page with -update. It returns the exit code.
func (p *Page) Main(m *testing.M) int {
	path := filepath.Join(folder, p.File)
	update := flag.Bool("update", false, "rewrite "+path)
	flag.Parse()
	code := m.Run()
	if testing.Verbose() && len(p.lines) > 0 {
		fmt.Print(p.table())
	}
	if *update && code == 0 {
		text := fmt.Sprintf("# %s\n\nWritten by `go test ./%s -update`.\n\n%s", p.Title, p.Folder, p.table())
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	return code
}

// table says for each quantity and source how many rows were checked, and what
// the row that came nearest to its tolerance missed by.
func (p *Page) table() string {
	var b strings.Builder
	b.WriteString("| quantity | source | checks | worst difference | tolerance |\n|---|---|---|---|---|\n")
	total := 0
	for _, l := range p.lines {
		fmt.Fprintf(&b, "| %s | %s | %d | %.2g | %s |\n", l.quantity, l.source, l.checks, l.worst, l.tolerance)
		total += l.checks
	}
	fmt.Fprintf(&b, "| **all** | | %d | | |\n", total)
	return b.String()
}
