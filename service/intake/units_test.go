package intake

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rhizostat/policy/sensing"
)

// reference reads a CSV of testdata/references; each row names its source.
func reference(t *testing.T, name string) []map[string]string {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "references", name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, r := range records[1:] {
		row := map[string]string{}
		for i, column := range records[0] {
			row[column] = r[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func near(got, want float64) bool { return math.Abs(got-want) <= 1e-12*math.Max(1, math.Abs(want)) }

// baseOf gives, for the base units of the reference, the signal that the unit is
// tried on and what one of that base unit is in ours.
var baseOf = map[string]struct {
	signal sensing.Signal
	ours   float64
}{
	"/":        {sensing.WaterContent, 1},
	"1":        {sensing.WaterContent, 1},
	"Pa":       {sensing.VapourPressureDeficit, 0.001},
	"S/m":      {sensing.BulkEC, 10},
	"m3":       {sensing.IrrigationVolume, 1e6},
	"mol/m2/s": {sensing.PPFD, 1e6},
}

// TestUnitReferences holds the table of units against the SenML registries and
// UCUM.
func TestUnitReferences(t *testing.T) {
	arithmetic := map[string]float64{"x / 10": 0.1, "x / 10000": 1e-4, "x 1000": 1000, "x 100": 100, "x 100000": 1e5, "x / 1000": 1e-3, "x / 1000000": 1e-6, "x / 100": 0.01}
	checked := 0
	for _, row := range reference(t, "units.csv") {
		var in struct{ Symbol, Base, Code string }
		if err := json.Unmarshal([]byte(row["inputs"]), &in); err != nil {
			t.Fatalf("%s: %v", row["id"], err)
		}
		var scale float64
		symbol := in.Symbol
		switch {
		case strings.HasPrefix(row["quantity"], "SenML secondary unit"):
			var pair [2]float64
			if err := json.Unmarshal([]byte(row["expected"]), &pair); err != nil {
				t.Fatalf("%s: %v", row["id"], err)
			}
			scale = pair[0]
		case row["quantity"] == "UCUM code to base" && in.Code != "[degF]":
			symbol = in.Code
			scale = arithmetic[row["expected"]]
		default:
			continue
		}
		base, ok := baseOf[in.Base]
		if !ok || scale == 0 {
			t.Fatalf("%s: base %q or rule %q is not known here", row["id"], in.Base, row["expected"])
		}
		c, ok := conversionOf(base.signal, []byte(symbol), true)
		if !ok || c.offset != 0 || !near(c.scale, scale*base.ours) {
			t.Errorf("%s: %s is %v times the base (found %v), want %v", row["id"], symbol, c.scale, ok, scale*base.ours)
		}
		checked++
	}
	if checked < 12 {
		t.Fatalf("only %d rows were checked", checked)
	}
}

// TestUnitValues: whole conversions; the last column says where the number is
// from. unit-... are rows of testdata/references/units.csv.
func TestUnitValues(t *testing.T) {
	tests := []struct {
		signal     sensing.Signal
		unit       string
		hundredths bool
		in, want   float64
		source     string
	}{
		{sensing.AirTemperature, "[degF]", true, 102.8, 39.333333333333336, "unit-054"},
		{sensing.AirTemperature, "K", true, 293.15, 20, "unit-055"},
		{sensing.FeedEC, "S/m", true, 0.22, 2.2, "unit-056"},
		{sensing.WaterContent, "%", false, 0.523, 0.523, "unit-038, RFC 8428: % is a synonym of /"},
		{sensing.WaterContent, "%", true, 52.3, 0.523, "unit-053, UCUM: % is one hundredth"},
		{sensing.WaterContent, "/100", false, 52.3, 0.523, "unit-027"},
		{sensing.RelativeHumidity, "%RH", false, 21.2, 21.2, "unit-019: percent"},
		{sensing.RelativeHumidity, "%", false, 0.65, 65, "unit-018: a ratio"},
		{sensing.RelativeHumidity, "%", true, 65, 65, "unit-053"},
		{sensing.RelativeHumidity, "/", false, 0.65, 65, "unit-017"},
		{sensing.IrrigationVolume, "l", false, 0.15, 150, "unit-011: litre"},
		{sensing.VapourPressureDeficit, "hPa", true, 12, 1.2, "unit-049"},
		{sensing.Radiation, "J/cm2/h", true, 180, 500, "180 J/cm2/h = 1.8e6 J/m2 in 3600 s; by definition"},
		{sensing.ContainerWeight, "[lb_av]", true, 10, 4.5359237, "international pound, by definition"},
	}
	for _, tt := range tests {
		c, ok := conversionOf(tt.signal, []byte(tt.unit), tt.hundredths)
		if !ok {
			t.Errorf("%s in %s: unknown", tt.signal, tt.unit)
			continue
		}
		var v sensing.Values
		if reason := put(&v, tt.signal, tt.in, c); reason != "" {
			t.Errorf("%s of %v %s: %s", tt.signal, tt.in, tt.unit, reason)
		}
		if got, _ := v.Get(tt.signal); !near(got, tt.want) {
			t.Errorf("%s of %v %s is %v, want %v (%s)", tt.signal, tt.in, tt.unit, got, tt.want, tt.source)
		}
	}
}

// TestUnknownUnits: a unit of another quantity, or written otherwise, is an error
// that names what would do.
func TestUnknownUnits(t *testing.T) {
	for _, tt := range []struct{ signal, unit string }{
		{"water_content", "Cel"}, {"water_content", "%RH"}, {"air_temperature", "C"}, {"air_temperature", "cel"}, {"bulk_ec", "S"},
		{"bulk_ec", "ms/cm"}, {"irrigation_volume", "kg"}, {"ppfd", "W/m2"}, {"radiation", "lx"}, {"valve_open", "%"}, {"water_content", ""},
	} {
		err := CheckUnit(tt.signal, tt.unit)
		if err == nil || !strings.Contains(err.Error(), "expected one of ") {
			t.Errorf("%s in %q: %v", tt.signal, tt.unit, err)
		}
	}
	for i := range sensing.Signals {
		s := sensing.Signal(i)
		for _, u := range UnitsOf(s) {
			if err := CheckUnit(s.String(), u); err != nil {
				t.Error(err)
			}
		}
		if c, ok := conversionOf(s, []byte(sensing.Signals[i].Unit), true); !ok || c != asIs {
			t.Errorf("%s: base unit %s converts by %v", s, sensing.Signals[i].Unit, c)
		}
	}
	if CheckUnit("wetness", "1") == nil {
		t.Error("a signal that does not exist has units")
	}
}

// TestUnitsKeepOrder: no unit turns a larger value into a smaller one, and going
// back gives what went in.
func TestUnitsKeepOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(units).Draw(t, "unit")
		x := rapid.Float64Range(-1e4, 1e4).Draw(t, "x")
		step := rapid.Float64Range(1e-3, 1e3).Draw(t, "step")
		a, b := x*u.scale+u.offset, (x+step)*u.scale+u.offset
		if !(a < b) {
			t.Fatalf("%s: %v and %v become %v and %v", u.symbol, x, x+step, a, b)
		}
		if back := (a - u.offset) / u.scale; math.Abs(back-x) > 1e-6 {
			t.Fatalf("%s: %v comes back as %v", u.symbol, x, back)
		}
	})
}
