package intake

import (
	"fmt"
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// benchRouter has n zones of one site, each with four probes, a climate and
// foreign topics with named levels.
func benchRouter(tb testing.TB, n int) *Router {
	tb.Helper()
	zones := make([]Zone, n)
	for i := range zones {
		zones[i] = Zone{Site: "north", Zone: fmt.Sprintf("bench-%05d", i), Probes: []string{"p1", "p2", "p3", "p4"}, Climate: "house-1"}
	}
	mappings := []Mapping{
		{Site: "north", Topic: "plc7/{zone}/{probe}/sensor", PercentIsHundredths: true, Time: &TimeField{At: "/ts", Unit: "ms"}, JSON: []Field{
			{Signal: sensing.WaterContent, At: "/vwc", Unit: "%"}, {Signal: sensing.BulkEC, At: "/ec/bulk", Unit: "dS/m"}}},
		{Site: "north", Topic: "weather/house-1/temp", Climate: "house-1", Number: &Field{Signal: sensing.AirTemperature, Unit: "Cel"}},
	}
	r, err := NewRouter("rhizostat", zones, []ClimateID{{"north", "house-1"}}, mappings)
	if err != nil {
		tb.Fatal(err)
	}
	return r
}

var benchMessages = []struct{ name, topic, payload string }{
	{"flat", "rhizostat/north/bench-00007/telemetry/p2", `{"time":"2026-05-04T06:05:00Z","water_content":0.532,"bulk_ec":1.1,"substrate_temperature":19.2}`},
	{"senml", "rhizostat/north/bench-00007/telemetry/p2", `[{"bn":"urn:dev:mac:0024befffe804ff1:","bt":1777874700,"n":"water_content","u":"/","v":0.532},{"n":"bulk_ec","u":"S/m","v":0.11},{"n":"substrate_temperature","u":"Cel","v":19.2}]`},
	{"foreign", "plc7/bench-00007/p2/sensor", `{"ts":1777874700000,"id":"a7","vwc":53.2,"ec":{"bulk":1.1,"pore":2.2}}`},
	{"number", "weather/house-1/temp", "21.5"},
	{"refused", "rhizostat/north/bench-00007/telemetry/p2", `{"water_content":53.2}`},
}

// BenchmarkDecode is what a message costs from topic and payload to readings.
func BenchmarkDecode(b *testing.B) {
	arrived := time.Date(2026, 5, 4, 6, 5, 1, 0, time.UTC)
	for _, n := range []int{10, 50000} {
		r := benchRouter(b, n)
		for _, m := range benchMessages {
			payload := []byte(m.payload)
			b.Run(fmt.Sprintf("%s/%d-zones", m.name, n), func(b *testing.B) {
				items := 0
				emit := func(Item) { items++ }
				b.ReportAllocs()
				for b.Loop() {
					_ = r.Decode(m.topic, payload, arrived, emit)
				}
			})
		}
	}
}

// TestAllocations holds the budget of allocations for each message that is taken,
// and a bound for one that is refused.
func TestAllocations(t *testing.T) {
	if raced {
		t.Skip("allocations are not counted under the race detector")
	}
	r := benchRouter(t, 10)
	arrived := time.Date(2026, 5, 4, 6, 5, 1, 0, time.UTC)
	for _, m := range benchMessages {
		payload := []byte(m.payload)
		items := 0
		emit := func(Item) { items++ }
		got := testing.AllocsPerRun(200, func() { _ = r.Decode(m.topic, payload, arrived, emit) })
		limit := 0.
		if m.name == "refused" {
			limit = 4
		}
		if got > limit {
			t.Errorf("%s: %v allocations, at most %v", m.name, got, limit)
		}
		if (items > 0) != (m.name != "refused") {
			t.Errorf("%s: %d items", m.name, items)
		}
	}
}
