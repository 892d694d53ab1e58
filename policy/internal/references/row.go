package references

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Row is one value that did not come from this project, with what is allowed of
// ours. testdata/references/README.md explains the columns.
type Row struct {
	ID, Quantity, Expected, Unit string
	Tolerance                    string // a number, "... relative", "range" or "refuse"
	Provenance, Source, Note     string
	Inputs                       map[string]any // by name; the name carries the unit
}

// Number is a numeric input, NaN where the row has none of that name.
func (r Row) Number(name string) float64 {
	x, ok := r.Inputs[name].(float64)
	if !ok {
		return math.NaN()
	}
	return x
}

// Text is an input in words, "" where the row has none of that name.
func (r Row) Text(name string) string {
	s, _ := r.Inputs[name].(string)
	return s
}

// Read gives the rows of a file of testdata/references, for a test that runs two
// folders below the repository's root.
func Read(t testing.TB, file string) []Row {
	t.Helper()
	return read(t, filepath.Join(folder, file))
}

const folder = "../../testdata/references"

func read(t testing.TB, path string) []Row {
	t.Helper()
	data, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	records, err := csv.NewReader(data).ReadAll()
	if err := errors.Join(err, data.Close()); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	var out []Row
	for _, c := range records[1:] {
		r := Row{ID: c[0], Quantity: c[1], Expected: c[3], Unit: c[4], Tolerance: c[5], Provenance: c[6], Source: c[7], Note: c[8]}
		if err := json.Unmarshal([]byte(c[2]), &r.Inputs); err != nil {
			t.Fatalf("%s: %s: inputs: %v", path, r.ID, err)
		}
		if r.Source == "" {
			t.Errorf("%s: %s names no source", path, r.ID)
		}
		out = append(out, r)
	}
	return out
}

// distance is how far a result is from what its row expects, and what is
// allowed, in words too.
func (r Row) distance(got float64) (diff, tolerance float64, shown string, err error) {
	if r.Tolerance == "range" {
		var span [2]float64
		if err := json.Unmarshal([]byte(r.Expected), &span); err != nil {
			return 0, 0, "", fmt.Errorf("expected: %w", err)
		}
		return math.Max(0, math.Max(span[0]-got, got-span[1])), 1e-12, "in range", nil
	}
	want, err := strconv.ParseFloat(r.Expected, 64)
	if err != nil {
		return 0, 0, "", fmt.Errorf("expected: %w", err)
	}
	diff = math.Abs(got - want)
	if r.Tolerance == "refuse" { // a known mistake: coming within 1 % of it is failing
		if diff < 0.01*math.Abs(want) {
			return 1, 0.5, "must differ", nil
		}
		return 0, 1, "must differ", nil
	}
	field, relative := strings.CutSuffix(r.Tolerance, " relative")
	if tolerance, err = strconv.ParseFloat(field, 64); err != nil {
		return 0, 0, "", fmt.Errorf("tolerance: %w", err)
	}
	if relative {
		tolerance *= math.Abs(want)
	}
	// Half a unit in the last place of the row's own 17 digits.
	tolerance += 1e-15 * math.Abs(want)
	return diff, tolerance, strconv.FormatFloat(tolerance, 'g', 2, 64), nil
}
