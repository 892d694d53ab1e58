package intake

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rhizostat/policy/sensing"
)

// facility is two sites that share a weather station, with every way in which a
// foreign topic may name its source.
func facility(tb testing.TB) *Router {
	tb.Helper()
	zones := []Zone{
		{Site: "north", Zone: "bench-07", Probes: []string{"p1", "p2"}, Climate: "house-1"},
		{Site: "north", Zone: "bench-08", Probes: []string{"p1"}, Climate: "house-1", PercentIsHundredths: true},
		{Site: "south", Zone: "row-1", Probes: []string{"a", "b"}, Climate: "yard", PercentIsHundredths: true},
	}
	climates := []ClimateID{{"north", "house-1"}, {"south", "yard"}}
	water := []Field{{sensing.WaterContent, "/vwc", "%"}, {sensing.BulkEC, "/ec/bulk", "dS/m"}, {sensing.IrrigationVolume, "/valve/0/ml", ""}, {sensing.ValveOpen, "/valve/0/open", ""}}
	r, err := NewRouter("rhizostat", zones, climates, []Mapping{
		{Site: "north", Topic: "plc7/{zone}/{probe}/sensor", JSON: water, Time: &TimeField{"/ts", "ms"}, PercentIsHundredths: true},
		{Site: "north", Topic: "plc7/bench-08/p1/sensor", Zone: "bench-08", Probe: "p1", Number: &Field{sensing.WaterContent, "", "/100"}},
		{Site: "north", Topic: "plc7/{zone}/valve", Number: &Field{Signal: sensing.ValveOpen}},
		{Site: "north", Topic: "weather/temp", Climate: "house-1", Number: &Field{Signal: sensing.AirTemperature, Unit: "[degF]"}},
		{Site: "south", Topic: "weather/temp", Climate: "yard", Number: &Field{Signal: sensing.AirTemperature, Unit: "[degF]"}},
		{Site: "south", Topic: "weather/air", Climate: "yard", JSON: []Field{{sensing.RelativeHumidity, "/rh", ""}}, Time: &TimeField{"/at", "rfc3339"}},
		{Site: "south", Topic: "scale/{probe}", Zone: "row-1", Number: &Field{Signal: sensing.ContainerWeight, Unit: "g"}},
		{Site: "south", Topic: "{zone}/ec", Number: &Field{Signal: sensing.DrainEC, Unit: "uS/cm"}},
	})
	if err != nil {
		tb.Fatal(err)
	}
	return r
}

var noon = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

// decode gives all items of a message.
func decode(r *Router, topic, payload string) (items []Item, err error) {
	err = r.Decode(topic, []byte(payload), noon, func(i Item) { items = append(items, i) })
	return items, err
}

func TestTopics(t *testing.T) {
	r := facility(t)
	tests := []struct {
		topic, payload string
		zone, climate  int
		source         int
		reason         Reason
	}{
		{"rhizostat/north/bench-07/telemetry/p2", `{"water_content":0.5}`, 0, -1, 1, ""},
		{"rhizostat/north/bench-07/telemetry/zone", `{"drain_ec":2}`, 0, -1, ZoneWide, ""},
		{"rhizostat/south/yard/telemetry/climate", `{"air_temperature":20}`, -1, 1, Climate, ""},
		{"rhizostat/west/bench-07/telemetry/p2", `{}`, 0, 0, 0, UnknownSite},
		{"rhizostat/west/yard/telemetry/climate", `{}`, 0, 0, 0, UnknownSite},
		{"rhizostat/north/bench-09/telemetry/p2", `{}`, 0, 0, 0, UnknownZone},
		{"rhizostat/north/bench-07/telemetry/p3", `{}`, 0, 0, 0, UnknownProbe},
		{"rhizostat/north/yard/telemetry/climate", `{}`, 0, 0, 0, UnknownClimate},
		{"rhizostat/north/bench-07/telemetry/climate", `{}`, 0, 0, 0, UnknownClimate},
		{"rhizostat/north/bench-07/telemetry", `{}`, 0, 0, 0, UnknownTopic},
		{"rhizostat/north/bench-07/telemetry/p1/x", `{}`, 0, 0, 0, UnknownTopic},
		{"rhizostat/north/bench-07/state", `{}`, 0, 0, 0, UnknownTopic},
		{"other/north/bench-07/telemetry/p1", `{}`, 0, 0, 0, UnknownTopic},
		{"plc7/bench-07/p2/sensor", `{"vwc":50}`, 0, -1, 1, ""},
		{"plc7/bench-08/p1/sensor", `50`, 1, -1, 0, ""}, // literal before named
		{"plc7/row-1/a/sensor", `{"vwc":50}`, 0, 0, 0, UnknownZone},
		{"plc7/bench-07/p9/sensor", `{"vwc":50}`, 0, 0, 0, UnknownProbe},
		{"plc7/bench-07/p2", `{"vwc":50}`, 0, 0, 0, UnknownTopic},
		{"plc7/bench-08/valve", `true`, 1, -1, ZoneWide, ""},
		{"weather/air", `{"rh":80}`, -1, 1, Climate, ""},
		{"scale/b", `9500`, 2, -1, 1, ""},
		{"scale/c", `9500`, 0, 0, 0, UnknownProbe},
		{"row-1/ec", `2100`, 2, -1, ZoneWide, ""},
		{"bench-07/ec", `2100`, 0, 0, 0, UnknownZone},
		{"", `{}`, 0, 0, 0, UnknownTopic},
	}
	for _, tt := range tests {
		items, err := decode(r, tt.topic, tt.payload)
		var refusal *Refusal
		if tt.reason != "" {
			if !errors.As(err, &refusal) || refusal.Reason != tt.reason || len(items) != 0 {
				t.Errorf("%s: %v and %d items, want %s", tt.topic, err, len(items), tt.reason)
			}
			continue
		}
		if err != nil || len(items) != 1 {
			t.Errorf("%s: %v, %d items", tt.topic, err, len(items))
			continue
		}
		if i := items[0]; i.ZoneIndex != tt.zone || i.ClimateIndex != tt.climate || i.Source != tt.source {
			t.Errorf("%s: zone %d climate %d source %d, want %d %d %d", tt.topic, i.ZoneIndex, i.ClimateIndex, i.Source, tt.zone, tt.climate, tt.source)
		}
	}
}

// TestSharedStation: a weather station that two sites name serves both.
func TestSharedStation(t *testing.T) {
	items, err := decode(facility(t), "weather/temp", "68")
	if err != nil || len(items) != 2 || items[0].ClimateIndex != 0 || items[1].ClimateIndex != 1 {
		t.Fatalf("%v: %+v", err, items)
	}
	for _, i := range items {
		if v, ok := i.Values.Get(sensing.AirTemperature); !ok || !near(v, 20) {
			t.Errorf("climate %d: %v", i.ClimateIndex, v)
		}
	}
}

func TestFilters(t *testing.T) {
	r := facility(t)
	// {zone}/ec meets scale/{probe} at scale/ec, and the two weather topics with it
	want := "+/+ plc7/+/+/sensor plc7/+/valve rhizostat/north/+/telemetry/+ rhizostat/south/+/telemetry/+"
	if got := strings.Join(r.Filters(), " "); got != want {
		t.Errorf("filters %s\nwant    %s", got, want)
	}
	if got := strings.Join(r.ControlFilters(), " "); got != "rhizostat/north/+/decision rhizostat/north/+/event rhizostat/south/+/decision rhizostat/south/+/event" {
		t.Errorf("control filters %s", got)
	}
}

// TestOverlapIsMatching: a filter overlaps a topic exactly when it matches it, by
// the rows of the MQTT reference that have no `#`.
func TestOverlapIsMatching(t *testing.T) {
	rows := reference(t, "mqtt-topics.csv")
	if len(rows) < 10 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows {
		var in struct{ Filter, Topic string }
		if err := json.Unmarshal([]byte(row["inputs"]), &in); err != nil {
			t.Fatal(err)
		}
		if got := overlap(in.Filter, in.Topic); got != (row["expected"] == "true") {
			t.Errorf("%s: %q and %q: %v, want %s", row["id"], in.Filter, in.Topic, got, row["expected"])
		}
	}
}

// TestDisjoint: whatever the filters, each topic that one of them matches is
// matched by exactly one of the result.
func TestDisjoint(t *testing.T) {
	level := rapid.SampledFrom([]string{"+", "a", "b", "c"})
	filter := rapid.Map(rapid.SliceOfN(level, 1, 4), func(l []string) string { return strings.Join(l, "/") })
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.SliceOfN(filter, 1, 12).Draw(t, "filters")
		topic := strings.ReplaceAll(filter.Draw(t, "topic"), "+", "d")
		out := disjoint(append([]string(nil), in...))
		before, after := matching(in, topic), matching(out, topic)
		if before > 0 && after != 1 || after > 1 {
			t.Fatalf("%s: matched by %d of %v and by %d of %v", topic, before, in, after, out)
		}
		for i, a := range out {
			for _, b := range out[i+1:] {
				if overlap(a, b) {
					t.Fatalf("%v: %s and %s still overlap", in, a, b)
				}
			}
		}
	})
}

// matching counts the filters that match a topic.
func matching(filters []string, topic string) (n int) {
	levels := strings.Split(topic, "/")
next:
	for _, f := range filters {
		parts := strings.Split(f, "/")
		if len(parts) != len(levels) {
			continue
		}
		for i := range parts {
			if parts[i] != "+" && parts[i] != levels[i] {
				continue next
			}
		}
		n++
	}
	return n
}

// TestManySites: thousands of sites and their mappings are joined quickly enough
// to be forgotten.
func TestManySites(t *testing.T) {
	var filters []string
	for i := range 5000 {
		name := "s" + strings.Repeat("x", i%7) + string(rune('a'+i%26)) + string(rune('a'+i/26%26)) + string(rune('a'+i/676))
		filters = append(filters, "rhizostat/"+name+"/+/telemetry/+", "plc/"+name+"/+/vwc")
	}
	if got := disjoint(filters); len(got) != 10000 {
		t.Errorf("%d filters of 10000 that do not overlap", len(got))
	}
}

func TestRouterMistakes(t *testing.T) {
	zones := []Zone{{Site: "north", Zone: "a", Probes: []string{"p1"}}, {Site: "south", Zone: "a", Probes: []string{"p1"}}}
	wc := []Field{{sensing.WaterContent, "/v", "%"}}
	tests := []struct {
		name     string
		zones    []Zone
		mappings []Mapping
		want     string
	}{
		{"unknown climate", []Zone{{Site: "north", Zone: "a", Climate: "x"}}, nil, "climate x is not there"},
		{"reserved probe", []Zone{{Site: "north", Zone: "a", Probes: []string{"climate"}}}, nil, "a probe is called climate"},
		{"doubled probe", []Zone{{Site: "north", Zone: "a", Probes: []string{"p", "p"}}}, nil, "probe p is there twice"},
		{"doubled zone", []Zone{{Site: "north", Zone: "a"}, {Site: "north", Zone: "a"}}, nil, "zone a is there twice"},
		{"unit", zones, []Mapping{{Site: "north", Topic: "x/{zone}/{probe}", JSON: []Field{{sensing.WaterContent, "/v", "Cel"}}}}, `"Cel" is not a unit of water_content; expected one of m3/m3, `},
		{"time unit", zones, []Mapping{{Site: "north", Topic: "x/{zone}/{probe}", JSON: wc, Time: &TimeField{"/t", "d"}}}, `"d" is not a unit of time`},
		{"pointer", zones, []Mapping{{Site: "north", Topic: "x/{zone}/{probe}", JSON: []Field{{sensing.WaterContent, "v", ""}}}}, `"v" is not a JSON Pointer`},
		{"native", zones, []Mapping{{Site: "north", Topic: "rhizostat/north/{zone}/telemetry/{probe}", JSON: wc}}, "a native one already"},
		{"wildcard", zones, []Mapping{{Site: "north", Topic: "x/+/y", Zone: "a", Probe: "p1", JSON: wc}}, "the topic has a wildcard"},
		{"nobody's", zones, []Mapping{{Site: "north", Topic: "x/y", Number: &Field{Signal: sensing.FeedEC}}}, "nothing says whose"},
		{"two at once", zones, []Mapping{{Site: "north", Topic: "x/{zone}", Zone: "a", Number: &Field{Signal: sensing.FeedEC}}}, "belong to two at once"},
		{"no probe", zones, []Mapping{{Site: "north", Topic: "x/{zone}", JSON: wc}}, "does not belong to this kind of source"},
		{"unknown probe", zones, []Mapping{{Site: "north", Topic: "x", Zone: "a", Probe: "q", JSON: wc}}, "probe q is not there"},
		{"unknown zone", zones, []Mapping{{Site: "north", Topic: "x", Zone: "b", Probe: "q", JSON: wc}}, "zone b is not there"},
		{"no form", zones, []Mapping{{Site: "north", Topic: "x", Zone: "a", Probe: "p1"}}, "expected one of json and number"},
		{"not told apart", zones, []Mapping{
			{Site: "north", Topic: "x/{zone}/{probe}", JSON: wc}, {Site: "south", Topic: "x/{zone}/{probe}", JSON: wc},
		}, "serves zone a of site north already"},
	}
	for _, tt := range tests {
		_, err := NewRouter("rhizostat", tt.zones, nil, tt.mappings)
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
}
