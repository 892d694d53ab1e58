package references

import (
	"math"
	"strings"
	"testing"
)

// What each kind of tolerance lets pass, at its edge.
func TestTolerances(t *testing.T) {
	tests := map[string]struct {
		expected, tolerance string
		got                 float64
		within              bool
	}{
		"absolute, inside":            {"2", "0.01", 2.0099, true},
		"absolute, outside":           {"2", "0.01", 2.0101, false},
		"relative, inside":            {"-200", "0.01 relative", -201.9, true},
		"relative, outside":           {"-200", "0.01 relative", -202.1, false},
		"nothing but rounding":        {"0.1", "0", 0.1 + 1e-17, true},
		"range, inside":               {"[1, 3]", "range", 3, true},
		"range, above":                {"[1, 3]", "range", 3.001, false},
		"range, below":                {"[1, 3]", "range", 0.999, false},
		"a mistake in print":          {"10", "refuse", 10.05, false},
		"far from a mistake in print": {"10", "refuse", 10.2, true},
	}
	for name, c := range tests {
		diff, tolerance, shown, err := Row{Expected: c.expected, Tolerance: c.tolerance}.distance(c.got)
		if err != nil || shown == "" {
			t.Errorf("%s: %q, %v", name, shown, err)
		}
		if (diff <= tolerance) != c.within {
			t.Errorf("%s: %v is %v from %s, allowed %v", name, c.got, diff, c.expected, tolerance)
		}
	}
	for _, r := range []Row{{Expected: "two", Tolerance: "1"}, {Expected: "2", Tolerance: "little"}, {Expected: "2", Tolerance: "range"}} {
		if _, _, _, err := r.distance(2); err == nil {
			t.Errorf("%+v was understood", r)
		}
	}
}

// The page tells the row that used most of its tolerance, and how many there were.
func TestTableTellsTheNearestMiss(t *testing.T) {
	var p Page
	for _, c := range []struct {
		tolerance string
		got       float64
	}{{"0.5", 1.2}, {"0.01", 1.009}, {"0.5", 1.3}} {
		p.Hold(t, Row{ID: "row", Expected: "1", Tolerance: c.tolerance}, "quantity", "source", c.got)
	}
	if got, want := p.table(), "| quantity | source | 3 | 0.009 | 0.01 |\n| **all** | | 3 | | |\n"; !strings.HasSuffix(got, want) {
		t.Errorf("got\n%s\nwant it to end\n%s", got, want)
	}
}

func TestInputsThatARowDoesNotHave(t *testing.T) {
	r := Row{Inputs: map[string]any{"t_cel": 20.0, "model": "Buckingham (1904)"}}
	if r.Number("t_cel") != 20 || !math.IsNaN(r.Number("model")) || !math.IsNaN(r.Number("rh")) {
		t.Errorf("numbers of %v: %v %v %v", r.Inputs, r.Number("t_cel"), r.Number("model"), r.Number("rh"))
	}
	if r.Text("model") != "Buckingham (1904)" || r.Text("t_cel") != "" {
		t.Errorf("texts of %v: %q %q", r.Inputs, r.Text("model"), r.Text("t_cel"))
	}
}
