package intake

import (
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// pointed reads a signal at a pointer out of a document.
func pointed(t *testing.T, m Mapping, document string) ([]Item, error) {
	t.Helper()
	m.Site, m.Topic, m.Climate = "north", "weather", "air"
	r, err := NewRouter("rhizostat", nil, []ClimateID{{"north", "air"}}, []Mapping{m})
	if err != nil {
		t.Fatal(err)
	}
	return decode(r, "weather", document)
}

// TestPointers: the examples of RFC 6901, section 5 (memory), each to the number
// that it leads to.
func TestPointers(t *testing.T) {
	const document = `{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}`
	tests := []struct {
		pointer string
		want    float64
		reason  Reason
	}{
		{"/", 0, ""}, {"/a~1b", 1, ""}, {"/c%d", 2, ""}, {"/e^f", 3, ""}, {"/g|h", 4, ""}, {`/i\j`, 5, ""}, {`/k"l`, 6, ""}, {"/ ", 7, ""}, {"/m~0n", 8, ""},
		{"/foo", 0, NotANumber}, {"/foo/0", 0, NotANumber}, {"/foo/2", 0, Empty}, {"/foo/00", 0, Empty}, {"/foo/-", 0, Empty}, {"/m~01n", 0, Empty}, {"/a/b", 0, Empty},
	}
	for _, tt := range tests {
		items, err := pointed(t, Mapping{JSON: []Field{{sensing.Radiation, tt.pointer, ""}}}, document)
		if _, reason := Outcome(err); reason != tt.reason {
			t.Errorf("%s: %v, want %q", tt.pointer, err, tt.reason)
			continue
		}
		if tt.reason == "" {
			if got, _ := items[0].Values.Get(sensing.Radiation); got != tt.want {
				t.Errorf("%s: %v, want %v", tt.pointer, got, tt.want)
			}
		}
	}
}

// TestForeignTimes: the same instant in each unit of time.
func TestForeignTimes(t *testing.T) {
	want := time.Date(2026, 5, 4, 6, 5, 0, 250e6, time.UTC)
	tests := []struct{ unit, written string }{
		{"s", "1777874700.25"}, {"ms", "1777874700250"}, {"us", "1777874700250000"}, {"ns", "1777874700250000000"}, {"s", `"1777874700.25"`},
		{"rfc3339", `"2026-05-04T06:05:00.25Z"`}, {"", `"2026-05-04T07:05:00.250+01:00"`},
	}
	for _, tt := range tests {
		items, err := pointed(t, Mapping{JSON: []Field{{sensing.Radiation, "/r", ""}}, Time: &TimeField{"/t", tt.unit}}, `{"r":1,"t":`+tt.written+`}`)
		if err != nil || !items[0].HasTime || !items[0].At.Equal(want) {
			t.Errorf("%s in %s: %v %+v", tt.written, tt.unit, err, items)
		}
	}
	for _, tt := range []struct{ unit, written string }{
		{"s", "1777874700250000"}, {"ms", "-5"}, {"s", `"0x10"`}, {"s", `"now"`}, {"s", "true"}, {"rfc3339", "1777874700"}, {"rfc3339", `"2026-05-04T06:05:00"`}, {"rfc3339", `"2026-05-04 06:05:00Z"`},
	} {
		items, err := pointed(t, Mapping{JSON: []Field{{sensing.Radiation, "/r", ""}}, Time: &TimeField{"/t", tt.unit}}, `{"r":1,"t":`+tt.written+`}`)
		if _, reason := Outcome(err); reason != NotATime || len(items) > 0 {
			t.Errorf("%s in %s: %v", tt.written, tt.unit, err)
		}
	}
}

// TestPercentOfMapping: % is a hundredth where the site file leaves it, a ratio
// where it says so, and a number without a unit is in the base unit either way.
func TestPercentOfMapping(t *testing.T) {
	for _, tt := range []struct {
		unit       string
		hundredths bool
		written    string
	}{{"%", true, "65"}, {"%", false, "0.65"}, {"", true, "65"}, {"", false, "65"}, {"%RH", false, "65"}} {
		items, err := pointed(t, Mapping{JSON: []Field{{sensing.RelativeHumidity, "/rh", tt.unit}}, PercentIsHundredths: tt.hundredths}, `{"rh":`+tt.written+`}`)
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := items[0].Values.Get(sensing.RelativeHumidity); !near(got, 65) {
			t.Errorf("%s of %q, hundredths %v: %v", tt.written, tt.unit, tt.hundredths, got)
		}
	}
}
