package sensing

import (
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite testdata/references/sensing.md")

const references = "../../testdata/references"

// reference is one published or computed value: a row of a references file.
type reference struct {
	id, quantity, expected, unit, tol, provenance, source, note string
	in                                                          map[string]any
}

func (r reference) num(key string) float64 {
	x, ok := r.in[key].(float64)
	if !ok {
		return math.NaN()
	}
	return x
}

func (r reference) text(key string) string { s, _ := r.in[key].(string); return s }

func readReferences(t *testing.T, path string) []reference {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	var out []reference
	for _, row := range rows[1:] {
		r := reference{id: row[0], quantity: row[1], expected: row[3], unit: row[4], tol: row[5], provenance: row[6], source: row[7], note: row[8]}
		if err := json.Unmarshal([]byte(row[2]), &r.in); err != nil {
			t.Fatalf("%s: %s: inputs: %v", path, r.id, err)
		}
		if r.source == "" {
			t.Errorf("%s: %s names no source", path, r.id)
		}
		out = append(out, r)
	}
	return out
}

// tally is one line of the printed table.
type tally struct {
	quantity, source, tol string
	checks                int
	worst                 float64 // of the row nearest to its tolerance
	ratio                 float64 // worst over its tolerance
}

var tallies []*tally

// hold compares got with a row, by the row's own tolerance, and counts it.
func hold(t *testing.T, r reference, name, source string, got float64) {
	t.Helper()
	if math.IsNaN(got) {
		t.Errorf("%s %s: NaN", r.id, name)
		return
	}
	diff, tol, shown := r.distance(t, got)
	if diff > tol {
		t.Errorf("%s %s: got %.17g, want %s %s within %s (%s)", r.id, name, got, r.expected, r.unit, r.tol, r.source)
	}
	for _, y := range tallies {
		if y.quantity == name && y.source == source {
			y.checks++
			if ratio := diff / tol; ratio > y.ratio || (ratio == y.ratio && diff > y.worst) {
				y.worst, y.ratio, y.tol = diff, ratio, shown
			}
			return
		}
	}
	tallies = append(tallies, &tally{quantity: name, source: source, tol: shown, checks: 1, worst: diff, ratio: diff / tol})
}

// distance is how far a result is from what its row expects, and what is
// allowed, in words too.
func (r reference) distance(t *testing.T, got float64) (diff, tol float64, shown string) {
	t.Helper()
	if r.tol == "range" {
		var span [2]float64
		if err := json.Unmarshal([]byte(r.expected), &span); err != nil {
			t.Fatalf("%s: expected: %v", r.id, err)
		}
		return math.Max(0, math.Max(span[0]-got, got-span[1])), 1e-12, "in range"
	}
	want, err := strconv.ParseFloat(r.expected, 64)
	if err != nil {
		t.Fatalf("%s: expected: %v", r.id, err)
	}
	diff = math.Abs(got - want)
	if r.tol == "refuse" { // a known mistake: coming within 1 % of it is failing
		if diff < 0.01*math.Abs(want) {
			return 1, 0.5, "must differ"
		}
		return 0, 1, "must differ"
	}
	field, relative := strings.CutSuffix(r.tol, " relative")
	tol, err = strconv.ParseFloat(field, 64)
	if err != nil {
		t.Fatalf("%s: tolerance: %v", r.id, err)
	}
	if relative {
		tol *= math.Abs(want)
	}
	// Half a unit in the last place of the row's own 17 digits.
	tol += 1e-15 * math.Abs(want)
	return diff, tol, strconv.FormatFloat(tol, 'g', 2, 64)
}

// everyReference runs check over the chosen rows of a file in testdata, and over
// all rows of the fuller set beside the repository where that is there.
func everyReference(t *testing.T, file, full string, check func(*testing.T, reference)) {
	t.Run("chosen", func(t *testing.T) {
		for _, r := range readReferences(t, filepath.Join(references, file)) {
			check(t, r)
		}
	})
	t.Run("all", func(t *testing.T) {
		path := filepath.Join("..", "..", "..", "shared", "reference", full)
		if _, err := os.Stat(path); err != nil {
			t.Skip("the full reference set is not beside the repository; the chosen rows have run")
		}
		kept := tallies
		tallies = nil // the table counts what the repository holds
		rows := readReferences(t, path)
		for _, r := range rows {
			check(t, r)
		}
		t.Logf("%d rows", len(rows))
		tallies = kept
	})
}

// TestMain prints what was checked, and rewrites its page with -update.
func TestMain(m *testing.M) {
	flag.Parse()
	code := m.Run()
	if testing.Verbose() && len(tallies) > 0 {
		fmt.Print(table())
	}
	if *update && code == 0 {
		page := "# Calibration, salinity\n\nWritten by `go test ./policy/sensing -update`.\n\n" + table()
		if err := os.WriteFile(filepath.Join(references, "sensing.md"), []byte(page), fs.FileMode(0o644)); err != nil {
			fmt.Println(err)
			code = 1
		}
	}
	os.Exit(code)
}

// table is the page's table: each line is the row that came nearest to its
// tolerance.
func table() string {
	var b strings.Builder
	b.WriteString("| quantity | source | checks | worst difference | tolerance |\n|---|---|---|---|---|\n")
	total := 0
	for _, y := range tallies {
		fmt.Fprintf(&b, "| %s | %s | %d | %.2g | %s |\n", y.quantity, y.source, y.checks, y.worst, y.tol)
		total += y.checks
	}
	fmt.Fprintf(&b, "| **all** | | %d | | |\n", total)
	return b.String()
}
