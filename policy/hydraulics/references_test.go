package hydraulics

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"testing"

	"rhizostat/policy/internal/references"
)

// page counts what is held against published and computed values.
var page = references.Page{File: "hydraulics.md", Title: "Water, air and oxygen in containers", Folder: "policy/hydraulics"}

func TestMain(m *testing.M) { os.Exit(page.Main(m)) }

// retentionOf is the curve of a row: its own numbers or, in the fuller set, those
// of the substrate that it names.
func retentionOf(t *testing.T, r references.Row) Retention {
	t.Helper()
	if math.IsNaN(r.Number("theta_r")) && r.Text("set") != "" {
		return parametersOf(t, r.Text("set"))
	}
	return Retention{ThetaR: r.Number("theta_r"), ThetaS: r.Number("theta_s"), AlphaPerKPa: r.Number("alpha_per_cm") * CMPerKPa, N: r.Number("n")}
}

// parameters are those of the fuller set by name, read when first asked for.
var parameters map[string]Retention

func parametersOf(t *testing.T, name string) Retention {
	t.Helper()
	if parameters == nil {
		parameters = readParameters(t, references.Beside("01-retention-parameters.csv"))
	}
	found, ok := parameters[name]
	if !ok {
		t.Fatalf("no parameters of %q", name)
	}
	return found
}

func readParameters(t *testing.T, path string) map[string]Retention {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(file).ReadAll()
	if err := errors.Join(err, file.Close()); err != nil {
		t.Fatal(err)
	}
	out := map[string]Retention{}
	for _, row := range rows[1:] {
		var x [4]float64
		for i, c := range [...]int{3, 4, 5, 7} {
			if x[i], err = strconv.ParseFloat(row[c], 64); err != nil {
				t.Fatalf("%s: %v", row[0], err)
			}
		}
		out[row[0]] = Retention{ThetaR: x[0], ThetaS: x[1], AlphaPerKPa: x[2] * CMPerKPa, N: x[3]}
	}
	return out
}
