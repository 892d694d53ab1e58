package intake

import (
	"encoding/hex"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rhizostat/policy/sensing"
	"rhizostat/service/internal/edgenode"
	"rhizostat/service/wire"
)

// plant is a site whose edge node plc9 has metrics of its own and of two devices, with
// what is asked of it and what is born.
type plant struct {
	*Router
	asked []string
	born  []string
}

func newPlant(t testing.TB) *plant {
	t.Helper()
	zones := []Zone{
		{Site: "north", Zone: "bench-07", Probes: []string{"p1", "p2"}, Climate: "house-1"},
		{Site: "north", Zone: "bench-08", Probes: []string{"p1"}, Climate: "house-1"},
		{Site: "south", Zone: "row-1", Probes: []string{"a"}},
	}
	r, err := NewRouter("rhizostat", zones, []ClimateID{{"north", "house-1"}}, []Mapping{
		{Site: "north", PercentIsHundredths: true, Sparkplug: &Metrics{Group: "farm", EdgeNode: "plc9", Metrics: []Metric{
			{"{zone}/{probe}/vwc", sensing.WaterContent, "%"}, {"{zone}/{probe}/ec", sensing.BulkEC, "dS/m"}, {"{zone}/{probe}/feed", sensing.FeedEC, ""}}}},
		{Site: "north", Climate: "house-1", Sparkplug: &Metrics{Group: "farm", EdgeNode: "plc9", Metrics: []Metric{{"air/temp", sensing.AirTemperature, "[degF]"}}}},
		{Site: "north", Sparkplug: &Metrics{Group: "farm", EdgeNode: "plc9", Device: "valves", Metrics: []Metric{
			{"{zone}/open", sensing.ValveOpen, ""}, {"{zone}/ml", sensing.IrrigationVolume, ""}, {"{zone}/litres", sensing.IrrigationTotal, "L"}}}},
		{Site: "north", Zone: "bench-08", Probe: "p1", Sparkplug: &Metrics{Group: "farm", EdgeNode: "plc9", Device: "scale", Metrics: []Metric{{"weight", sensing.ContainerWeight, "g"}}}},
		{Site: "south", Zone: "row-1", Sparkplug: &Metrics{Group: "farm", EdgeNode: "plc9", Metrics: []Metric{{"tank/ec", sensing.FeedEC, "mS/cm"}}}},
		{Site: "north", Zone: "bench-07", Sparkplug: &Metrics{Group: "farm", EdgeNode: "plc9", Metrics: []Metric{{"tank/ec", sensing.FeedEC, "mS/cm"}}}},
	}, Output{Site: "north", Group: "farm", EdgeNode: "plc9", Device: "valves", Names: []string{"bench-07/shot_ml", "bench-08/shot_ml"}},
		Output{Site: "south", Group: "farm", EdgeNode: "plc10", Names: []string{"row-1/shot_ml"}})
	if err != nil {
		t.Fatal(err)
	}
	p := &plant{Router: r}
	r.Listen(Listener{
		Rebirth: func(site, group, node string, at time.Time) {
			p.asked = append(p.asked, fmt.Sprintf("%s %s/%s", site, group, node))
		},
		Born: func(output int, types map[string]wire.SparkplugType, at time.Time) {
			p.born = append(p.born, fmt.Sprintf("%d %v", output, types))
		},
	})
	return p
}

// at sends a message at a time after noon.
func (p *plant) at(after time.Duration, topic string, m edgenode.Payload) (items []Item, reason Reason, partial bool) {
	err := p.Decode("spBv1.0/farm/"+topic, m.Encode(), noon.Add(after), func(i Item) { items = append(items, i) })
	result, reason := Outcome(err)
	return items, reason, result == Partial
}

// send is at noon, and must be taken whole.
func (p *plant) send(t testing.TB, topic string, m edgenode.Payload) []Item {
	t.Helper()
	items, reason, _ := p.at(0, topic, m)
	if reason != "" {
		t.Fatalf("%s: %s", topic, reason)
	}
	return items
}

// shows writes items in short: source, signal, value, seconds from noon.
func shows(items []Item) string {
	var out []string
	for _, i := range items {
		who := fmt.Sprintf("zone %d source %d", i.ZoneIndex, i.Source)
		if i.ClimateIndex >= 0 {
			who = fmt.Sprintf("climate %d", i.ClimateIndex)
		}
		for s := range sensing.SignalCount {
			if v, ok := i.Values.Get(sensing.Signal(s)); ok {
				who += fmt.Sprintf(" %s %.6g", sensing.Signal(s), v)
			}
		}
		if i.HasTime {
			who += fmt.Sprintf(" at %+g", i.At.Sub(noon).Seconds())
		}
		out = append(out, who)
	}
	return strings.Join(out, "; ")
}

var ms = uint64(noon.UnixMilli())

// nodeBirth declares what plc9 itself has.
func nodeBirth(connection uint64) edgenode.Payload {
	return edgenode.Payload{Timestamp: ms, Metrics: []edgenode.Metric{
		{Name: "bdSeq", Timestamp: ms, Type: 4, Value: connection},
		{Name: "Node Control/Rebirth", Timestamp: ms, Type: 11, Value: false},
		{Name: "bench-07/p1/vwc", Alias: 7, Timestamp: ms, Type: 9, Value: float32(52.25)},
		{Name: "bench-08/p1/vwc", Alias: 8, Timestamp: ms, Type: 1, Value: uint32(50)},
		{Name: "bench-08/p1/ec", Alias: 9, Timestamp: ms, Type: 3, Value: uint32(1)},
		{Name: "air/temp", Alias: 10, Timestamp: ms, Type: 10, Value: 68.0},
		{Name: "pump/hours", Alias: 11, Timestamp: ms, Type: 8, Value: uint64(12345)},
		{Name: "tank/ec", Alias: 12, Timestamp: ms, Type: 10, Null: true},
	}}
}

func deviceBirth(seq int) edgenode.Payload {
	return edgenode.Payload{Timestamp: ms, Seq: seq, Metrics: []edgenode.Metric{
		{Name: "bench-07/open", Alias: 20, Timestamp: ms, Type: 11, Value: false},
		{Name: "bench-07/ml", Alias: 21, Timestamp: ms, Type: 10, Value: 150.0},
		{Name: "bench-07/litres", Alias: 22, Timestamp: ms, Type: 10, Value: 12.5},
		{Name: "bench-07/shot_ml", Alias: 23, Timestamp: ms, Type: 9, Null: true},
	}}
}

// The story of one edge node: births, data by alias and by name, death.
func TestAnEdgeNodesLife(t *testing.T) {
	p := newPlant(t)
	items, reason, partial := p.at(0, "NBIRTH/plc9", nodeBirth(3))
	if want := "zone 0 source 0 water_content 0.5225 at +0; zone 1 source 0 water_content 0.5 bulk_ec 1 at +0; climate 0 air_temperature 20 at +0"; shows(items) != want || reason != NullValue || !partial {
		t.Errorf("the birth gives %s, %s; want %s, and the null counted", shows(items), reason, want)
	}
	items, reason, partial = p.at(0, "DBIRTH/plc9/valves", deviceBirth(1))
	if want := "zone 0 source -1 irrigation_total 12500 valve_open 0 at +0"; shows(items) != want || reason != NotAnEvent || !partial {
		t.Errorf("the device's birth gives %s, %s; want %s, without the volume of an event", shows(items), reason, want)
	}
	if want := []string{"0 map[bench-07/shot_ml:Float]"}; !slices.Equal(p.born, want) {
		t.Errorf("born: %q, want %q", p.born, want)
	}
	for _, c := range []struct {
		what, topic string
		message     edgenode.Payload
		want        string
		reason      Reason
	}{
		{"by alias", "NDATA/plc9", edgenode.Payload{Timestamp: ms + 1000, Seq: 2, Metrics: []edgenode.Metric{{Alias: 7, Timestamp: ms + 900, Value: float32(52)}}}, "zone 0 source 0 water_content 0.52 at +0.9", ""},
		{"signed, of the birth's type", "NDATA/plc9", edgenode.Payload{Timestamp: ms + 1000, Seq: 3, Metrics: []edgenode.Metric{{Alias: 9, Value: uint32(2)}}}, "zone 1 source 0 bulk_ec 2 at +1", ""},
		{"a negative one is impossible", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 4, Metrics: []edgenode.Metric{{Alias: 9, Value: uint32(math.MaxUint32)}}}, "", ImpossibleValue},
		{"nobody asked for it", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 5, Metrics: []edgenode.Metric{{Alias: 11, Value: uint64(12346)}, {Name: "pump/other", Value: 1.0}}}, "", ""},
		{"an event", "DDATA/plc9/valves", edgenode.Payload{Timestamp: ms + 5000, Seq: 6, Metrics: []edgenode.Metric{{Alias: 20, Value: true}, {Alias: 21, Value: 150.0}}}, "zone 0 source -1 irrigation_volume 150 valve_open 1 at +5", ""},
		{"a device that nobody asked for counts", "DDATA/plc9/pumps", edgenode.Payload{Timestamp: ms, Seq: 7, Metrics: []edgenode.Metric{{Alias: 99, Value: 1.0}}}, "", ""},
		{"null", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 8, Metrics: []edgenode.Metric{{Alias: 7, Null: true}}}, "", NullValue},
		{"stale", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 9, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(52), Quality: 500}}}, "", BadQuality},
		{"good", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 10, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(52), Quality: 192}}}, "zone 0 source 0 water_content 0.52 at +0", ""},
		{"buffered", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 11, Metrics: []edgenode.Metric{{Alias: 7, Timestamp: ms - 60000, Historical: true, Value: float32(51)}, {Alias: 7, Timestamp: ms - 30000, Historical: true, Value: float32(50)}}},
			"zone 0 source 0 water_content 0.51 at -60; zone 0 source 0 water_content 0.5 at -30", ""},
		{"buffered without its time", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 12, Metrics: []edgenode.Metric{{Alias: 7, Historical: true, Value: float32(51)}}}, "", NotATime},
		{"no time at all", "NDATA/plc9", edgenode.Payload{Seq: 13, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(51)}}}, "zone 0 source 0 water_content 0.51", ""},
		{"a time beyond all", "NDATA/plc9", edgenode.Payload{Timestamp: math.MaxUint64, Seq: 14, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(51)}}}, "", NotATime},
		{"by name, with its own type", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 15, Metrics: []edgenode.Metric{{Name: "bench-07/p2/vwc", Type: 6, Value: uint32(53)}}}, "zone 0 source 1 water_content 0.53 at +0", ""},
		{"text that is a number", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 16, Metrics: []edgenode.Metric{{Name: "bench-07/p2/vwc", Type: 12, Value: "53"}}}, "zone 0 source 1 water_content 0.53 at +0", ""},
		{"text that is none", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 17, Metrics: []edgenode.Metric{{Name: "bench-07/p2/vwc", Type: 12, Value: "wet"}}}, "", NotANumber},
		{"an instant is no water content", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 18, Metrics: []edgenode.Metric{{Name: "bench-07/p2/vwc", Type: 13, Value: ms}}}, "", NotANumber},
		{"true is no water content", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 19, Metrics: []edgenode.Metric{{Name: "bench-07/p2/vwc", Type: 11, Value: true}}}, "", NotANumber},
		{"a zone-wide signal under a probe", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 20, Metrics: []edgenode.Metric{{Name: "bench-07/p2/feed", Type: 10, Value: 2.2}}}, "zone 0 source -1 feed_ec 2.2 at +0", ""},
		{"one for two sites", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 21, Metrics: []edgenode.Metric{{Alias: 12, Value: 2.1}}}, "zone 2 source -1 feed_ec 2.1 at +0; zone 0 source -1 feed_ec 2.1 at +0", ""},
		{"no metric", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 22}, "", Empty},
		{"neither name nor alias", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 23, Metrics: []edgenode.Metric{{Value: 1.0}}}, "", NotSparkplug},
		{"the death of an earlier connection", "NDEATH/plc9", edgenode.Payload{Timestamp: ms, Seq: -1, Metrics: []edgenode.Metric{{Name: "bdSeq", Type: 4, Value: uint64(2)}}}, "", OldDeath},
		{"which changes nothing", "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 24, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(52)}}}, "zone 0 source 0 water_content 0.52 at +0", ""},
		{"the device's death", "DDEATH/plc9/valves", edgenode.Payload{Timestamp: ms, Seq: 25}, "", ""},
	} {
		items, reason, _ := p.at(0, c.topic, c.message)
		if got := shows(items); got != c.want || reason != c.reason {
			t.Errorf("%s: %q, %q; want %q, %q", c.what, got, reason, c.want, c.reason)
		}
	}
	if len(p.asked) > 0 {
		t.Errorf("asked %q, and every birth was seen", p.asked)
	}
	if _, reason, _ := p.at(0, "DDATA/plc9/valves", edgenode.Payload{Timestamp: ms, Seq: 26, Metrics: []edgenode.Metric{{Alias: 20, Value: true}}}); reason != Unborn {
		t.Errorf("the device is dead, and its alias is %q", reason)
	}
	p.send(t, "NDEATH/plc9", edgenode.Payload{Timestamp: ms, Seq: -1, Metrics: []edgenode.Metric{{Name: "bdSeq", Type: 4, Value: uint64(3)}}})
	if _, reason, _ := p.at(0, "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 27, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(52)}}}); reason != Unborn {
		t.Errorf("the edge node is dead, and its alias is %q", reason)
	}
	if want := []string{"north farm/plc9"}; !slices.Equal(p.asked, want) {
		t.Errorf("asked %q, want %q", p.asked, want)
	}
}

// Births are asked for where they are missing: data before them, an alias that they do
// not have, a gap, a new connection; and not again and again.
func TestRebirthsAreAskedFor(t *testing.T) {
	by := func(seq int, alias uint64) edgenode.Payload {
		return edgenode.Payload{Timestamp: ms, Seq: seq, Metrics: []edgenode.Metric{{Alias: alias, Value: float32(50)}}}
	}
	named := edgenode.Payload{Timestamp: ms, Seq: 3, Metrics: []edgenode.Metric{{Name: "bench-07/p1/vwc", Value: float32(52)}}}
	untyped := edgenode.Payload{Timestamp: ms, Seq: 3, Metrics: []edgenode.Metric{{Name: "bench-07/p1/vwc", Value: uint32(52)}}}
	for _, c := range []struct {
		what   string
		born   bool
		send   edgenode.Payload
		reason Reason
		items  int
		asked  int
	}{
		{"data before the birth", false, by(3, 7), Unborn, 0, 1},
		{"named data before the birth", false, named, "", 1, 1},
		{"named data whose sign nobody told", false, untyped, Unborn, 0, 1},
		{"an alias that the birth has not", true, by(1, 77), Unborn, 0, 1},
		{"in order", true, by(1, 7), "", 1, 0},
		{"a gap", true, by(2, 7), SequenceGap, 1, 1},
		{"again the same number", true, by(0, 7), SequenceGap, 1, 1},
	} {
		p := newPlant(t)
		if c.born {
			p.at(0, "NBIRTH/plc9", nodeBirth(1))
		}
		items, reason, partial := p.at(0, "NDATA/plc9", c.send)
		if len(items) != c.items || reason != c.reason || len(p.asked) != c.asked || reason == SequenceGap && !partial {
			t.Errorf("%s: %d items, %q, asked %d times; want %d, %q, %d", c.what, len(items), reason, len(p.asked), c.items, c.reason, c.asked)
		}
	}

	p := newPlant(t)
	var times []float64
	for s := 0.0; s < 3600; s++ { // it never answers
		before := len(p.asked)
		p.at(time.Duration(s)*time.Second, "NDATA/plc9", by(int(s)%256, 7))
		if len(p.asked) > before {
			times = append(times, s)
		}
	}
	if want := []float64{0, 30, 90, 210, 450, 930, 1830, 2730}; !reflect.DeepEqual(times, want) {
		t.Errorf("one that does not answer is asked at %v s, want %v", times, want)
	}
	p, times = newPlant(t), nil
	for s := 0.0; s < 120; s++ { // it answers, and always loses something
		before := len(p.asked)
		p.at(time.Duration(s)*time.Second, "NBIRTH/plc9", nodeBirth(1))
		p.at(time.Duration(s)*time.Second, "NDATA/plc9", by(2, 7))
		if len(p.asked) > before {
			times = append(times, s)
		}
	}
	if want := []float64{0, 30, 60, 90}; !reflect.DeepEqual(times, want) {
		t.Errorf("one with a gap in each life is asked at %v s, want %v", times, want)
	}

	p = newPlant(t)
	p.at(0, "NBIRTH/plc9", nodeBirth(1))
	p.Reconnected(noon)
	if want := []string{"south farm/plc10", "north farm/plc9"}; !slices.Equal(p.asked, want) {
		t.Errorf("at a connection %q were asked, want %q", p.asked, want)
	}
	if _, reason, _ := p.at(0, "NDATA/plc9", by(1, 7)); reason != Unborn {
		t.Errorf("what was born before the connection is still taken: %q", reason)
	}
}

// An alias of two metrics is of none, and what is said of more than one zone comes to
// each.
func TestAnAliasOfTwoMetrics(t *testing.T) {
	p := newPlant(t)
	birth := edgenode.Payload{Timestamp: ms, Metrics: []edgenode.Metric{
		{Name: "bench-07/p1/vwc", Alias: 7, Type: 9, Value: float32(52)}, {Name: "bench-07/p2/vwc", Alias: 7, Type: 9, Value: float32(51)}, {Alias: 8, Type: 9, Value: float32(5)},
	}}
	items, reason, partial := p.at(0, "NBIRTH/plc9", birth)
	if len(items) != 2 || reason != NotSparkplug || !partial {
		t.Errorf("%d items, %s", len(items), reason)
	}
	if items, reason, _ := p.at(0, "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 1, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(50)}}}); len(items) != 0 || reason != NotSparkplug {
		t.Errorf("%d items, %s", len(items), reason)
	}
}

// An output that is an edge node itself is born with it.
func TestAnEdgeNodeThatTakesSetpointsIsBorn(t *testing.T) {
	p := newPlant(t)
	p.send(t, "NBIRTH/plc10", edgenode.Payload{Timestamp: ms, Metrics: []edgenode.Metric{{Name: "row-1/shot_ml", Type: 3, Null: true}, {Name: "other", Type: 9, Null: true}}})
	p.send(t, "DBIRTH/plc10/pumps", edgenode.Payload{Timestamp: ms, Seq: 1, Metrics: []edgenode.Metric{{Name: "row-1/shot_ml", Type: 9, Null: true}}})
	if want := []string{"1 map[row-1/shot_ml:Int32]"}; !slices.Equal(p.born, want) {
		t.Errorf("born: %q, want %q", p.born, want)
	}
}

// A birth certificate that declares too much is bounded; the rest is known by name.
func TestAliasesAreBounded(t *testing.T) {
	p := newPlant(t)
	var birth edgenode.Payload
	for i := range maxAliases {
		birth.Metrics = append(birth.Metrics, edgenode.Metric{Name: "x", Alias: uint64(1000 + i)})
	}
	birth.Metrics = append(birth.Metrics, edgenode.Metric{Name: "bench-07/p1/vwc", Alias: 7, Type: 9, Value: float32(52)})
	items, reason, partial := p.at(0, "NBIRTH/plc9", birth)
	if len(items) != 1 || reason != TooLarge || !partial {
		t.Errorf("%d items, %s", len(items), reason)
	}
	if n := len(p.edges[edgeID{"farm", "plc9"}].own.byAlias); n != maxAliases {
		t.Errorf("%d aliases are kept", n)
	}
	if items, _, _ := p.at(0, "NDATA/plc9", edgenode.Payload{Timestamp: ms, Seq: 1, Metrics: []edgenode.Metric{{Name: "bench-07/p1/vwc", Value: float32(50)}}}); len(items) != 1 {
		t.Errorf("%d items by name", len(items))
	}
}

// What is not an edge node's word of now is refused whole.
func TestSparkplugRefusals(t *testing.T) {
	sound := string(nodeBirth(1).Encode())
	for _, c := range []struct {
		topic, payload string
		reason         Reason
	}{
		{"spBv1.0/farm/NBIRTH/plc8", sound, UnknownTopic}, {"spBv1.0/barn/NBIRTH/plc9", sound, UnknownTopic}, {"spBv1.0/farm/NBIRTH/plc9/x", sound, UnknownTopic},
		{"spBv1.0/farm/DBIRTH/plc9", sound, UnknownTopic}, {"spBv1.0/farm/NCMD/plc9", sound, UnknownTopic}, {"spBv1.0/farm/DCMD/plc9/valves", sound, UnknownTopic},
		{"spBv1.0/STATE/host1", `{"online":true,"timestamp":1}`, UnknownTopic}, {"spBv1.0", sound, UnknownTopic},
		{"spBv1.0/farm/NDATA/plc9", `{"vwc":52}`, NotSparkplug}, {"spBv1.0/farm/NBIRTH/plc9", sound[:len(sound)-3], NotSparkplug}, {"spBv1.0/farm/NDATA/plc9", "", Empty},
		{"spBv1.0/farm/NDATA/plc9", strings.Repeat("x", maxPayload+1), TooLarge}, {"spBv1.0/farm/DBIRTH/plc9/valves", strings.Repeat("x", maxBirth+1), TooLarge},
	} {
		p := newPlant(t)
		items, err := decode(p.Router, c.topic, c.payload)
		if _, reason := Outcome(err); reason != c.reason || len(items) > 0 || !strings.HasPrefix(err.Error(), c.topic+": ") {
			t.Errorf("%s: %v, want %s", c.topic, err, c.reason)
		}
	}
	p := newPlant(t)
	err := p.DecodeRetained("spBv1.0/farm/NBIRTH/plc9", []byte(sound), noon, func(i Item) { t.Errorf("a retained birth gives %+v", i) })
	if _, reason := Outcome(err); reason != Retained || p.edges[edgeID{"farm", "plc9"}].own.born {
		t.Errorf("a retained birth: %v", err)
	}
}

// The payloads that protoc encoded (testdata/references/sparkplug.csv): the birth
// declares an alias, and the data by that alias are readings of its zone.
func TestReferencePayloads(t *testing.T) {
	payload := map[string][]byte{}
	for _, row := range reference(t, "sparkplug.csv") {
		if row["quantity"] == "payload bytes" {
			raw, err := hex.DecodeString(row["expected"])
			if err != nil {
				t.Fatal(err)
			}
			payload[row["id"]] = raw
		}
	}
	p := newPlant(t)
	for _, c := range []struct{ id, message, want, reason string }{
		{"spb-071", "NBIRTH", "zone 0 source 0 water_content 0.5225 at 2026-11-24T18:40:00Z", ""},
		{"spb-072", "NDATA", "zone 0 source 0 water_content 0.005225 at 2026-11-24T18:40:00.9Z", ""}, // 0.5225 of the unit %
		{"spb-074", "NDATA", "", "sequence-gap"},                                                     // its metric ec is nobody's
		{"spb-075", "NDATA", "zone 0 source 0 water_content 0.515 at 2026-11-24T17:06:40Z", ""},      // seq 0 follows 255
		{"spb-078", "NDATA", "", "bad-quality"},
		{"spb-073", "NDEATH", "", ""},
		{"spb-072", "NDATA", "", "unborn"},
	} {
		var got []string
		err := p.Decode("spBv1.0/farm/"+c.message+"/plc9", payload[c.id], noon, func(i Item) {
			v, _ := i.Values.Get(sensing.WaterContent)
			got = append(got, fmt.Sprintf("zone %d source %d water_content %.6g at %s", i.ZoneIndex, i.Source, v, i.At.Format(time.RFC3339Nano)))
		})
		if _, reason := Outcome(err); strings.Join(got, "; ") != c.want || string(reason) != c.reason {
			t.Errorf("%s: %q, %q; want %q, %q", c.id, got, reason, c.want, c.reason)
		}
	}
}

func TestMappingsOfMetrics(t *testing.T) {
	zones := []Zone{{Site: "north", Zone: "z", Probes: []string{"p"}}}
	for _, c := range []struct {
		what string
		m    Mapping
		want string
	}{
		{"an id", Mapping{Sparkplug: &Metrics{Group: "a/b", EdgeNode: "n", Metrics: []Metric{{"{zone}/{probe}/x", sensing.WaterContent, ""}}}}, "not an id"},
		{"nobody's", Mapping{Sparkplug: &Metrics{Group: "a", EdgeNode: "n", Metrics: []Metric{{"x", sensing.FeedEC, ""}}}}, "whose the readings are"},
		{"a probe's signal", Mapping{Sparkplug: &Metrics{Group: "a", EdgeNode: "n", Metrics: []Metric{{"{zone}/x", sensing.WaterContent, ""}}}}, "kind of source"},
		{"a unit", Mapping{Sparkplug: &Metrics{Group: "a", EdgeNode: "n", Metrics: []Metric{{"{zone}/{probe}/x", sensing.WaterContent, "Cel"}}}}, "not a unit"},
		{"a zone", Mapping{Zone: "y", Sparkplug: &Metrics{Group: "a", EdgeNode: "n", Metrics: []Metric{{"x", sensing.FeedEC, ""}}}}, "zone y is not there"},
		{"a foreign topic of Sparkplug", Mapping{Topic: "spBv1.0/farm/DDATA/plc9/{zone}", Number: &Field{Signal: sensing.FeedEC}}, "Sparkplug B"},
		{"two forms", Mapping{Topic: "{zone}/x", Sparkplug: &Metrics{Group: "a", EdgeNode: "n"}}, "another form"},
	} {
		c.m.Site = "north"
		if _, err := NewRouter("rhizostat", zones, nil, []Mapping{c.m}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.what, err, c.want)
		}
	}
}

// The filters of an edge node are those of its messages, and of all its devices.
func TestSparkplugFilters(t *testing.T) {
	p := newPlant(t)
	var got []string
	for _, f := range p.Filters() {
		if strings.HasPrefix(f, "spBv1.0") && strings.Contains(f, "plc9") {
			got = append(got, strings.TrimPrefix(f, "spBv1.0/farm/"))
		}
	}
	if want := []string{"DBIRTH/plc9/+", "DDATA/plc9/+", "DDEATH/plc9/+", "NBIRTH/plc9", "NDATA/plc9", "NDEATH/plc9"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// TestMetricsGiveWhatWentIn: any possible value of any probe comes out as it went in,
// by whatever name, type and order.
func TestMetricsGiveWhatWentIn(t *testing.T) {
	r := newPlant(t)
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.Permutation([]string{"bench-07/p1/vwc", "bench-07/p2/vwc", "bench-08/p1/vwc", "bench-07/p1/ec", "bench-08/p1/ec", "other/thing"}).Draw(t, "order")
		birth := edgenode.Payload{Timestamp: ms}
		data := edgenode.Payload{Timestamp: ms + 1, Seq: 1}
		want := map[string]float64{}
		for i, name := range names {
			hundredths := rapid.IntRange(1, 90).Draw(t, "value")
			if strings.HasSuffix(name, "/ec") {
				hundredths = min(hundredths, 20)
			}
			m := edgenode.Metric{Name: name, Alias: uint64(i + 1)}
			d := edgenode.Metric{Alias: uint64(i + 1)}
			switch rapid.IntRange(0, 4).Draw(t, "type") {
			case 0:
				m.Type, d.Value = 9, float32(hundredths)
			case 1:
				m.Type, d.Value = 10, float64(hundredths)
			case 2:
				m.Type, d.Value = 1, uint32(hundredths)
			case 3:
				m.Type, d.Value = 8, uint64(hundredths)
			case 4:
				m.Type, d.Value = 12, fmt.Sprint(hundredths)
			}
			if rapid.Bool().Draw(t, "named") {
				d.Name, d.Alias = name, 0
			}
			m.Null = true
			birth.Metrics = append(birth.Metrics, m)
			data.Metrics = append(data.Metrics, d)
			want[name] = float64(hundredths)
		}
		r.at(0, "NBIRTH/plc9", birth)
		items, reason, _ := r.at(0, "NDATA/plc9", data)
		if reason != "" {
			t.Fatal(reason)
		}
		got := 0
		for _, i := range items {
			zone := r.zones[i.ZoneIndex]
			for s, end := range map[sensing.Signal]string{sensing.WaterContent: "/vwc", sensing.BulkEC: "/ec"} {
				v, ok := i.Values.Get(s)
				if !ok {
					continue
				}
				got++
				w := want[zone.Zone+"/"+zone.Probes[i.Source]+end]
				if s == sensing.WaterContent {
					w /= 100
				}
				if math.Abs(v-w) > 1e-9 {
					t.Fatalf("%s of %s: %v, want %v", s, zone.Zone, v, w)
				}
			}
		}
		if got != 5 {
			t.Fatalf("%d values came out, want 5", got)
		}
	})
}

// FuzzEdgeNode sends two messages of an edge node in turn, whatever they hold.
func FuzzEdgeNode(f *testing.F) {
	messages := []string{"NBIRTH/plc9", "NDATA/plc9", "NDEATH/plc9", "DBIRTH/plc9/valves", "DDATA/plc9/valves", "DDEATH/plc9/valves", "DDATA/plc9/other"}
	data := edgenode.Payload{Timestamp: ms, Seq: 1, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(52)}, {Name: "bench-07/p1/ec", Type: 3, Value: uint32(1)}}}
	f.Add(uint8(0), nodeBirth(3).Encode(), uint8(1), data.Encode())
	f.Add(uint8(3), deviceBirth(1).Encode(), uint8(4), edgenode.Payload{Seq: 2, Metrics: []edgenode.Metric{{Alias: 20, Value: true}, {Alias: 21, Value: 150.0, Quality: 500}}}.Encode())
	f.Add(uint8(2), []byte{}, uint8(1), []byte(`{"a":1}`))
	f.Fuzz(func(t *testing.T, m1 uint8, p1 []byte, m2 uint8, p2 []byte) {
		p := newPlant(t)
		for i, payload := range [][]byte{p1, p2, p1} {
			topic := "spBv1.0/farm/" + messages[int([]uint8{m1, m2, m1}[i])%len(messages)]
			var items []Item
			err := p.Decode(topic, payload, noon, func(i Item) { items = append(items, i) })
			for k := range items {
				holdItem(t, p.Router, &items[k])
			}
			result, reason := Outcome(err)
			switch {
			case err != nil && (!strings.HasPrefix(err.Error(), topic+": ") || strings.Contains(err.Error(), "\n")):
				t.Fatalf("%q", err)
			case result == Refused && len(items) > 0, (result == Accepted) != (reason == ""):
				t.Fatalf("%s with %d items: %v", result, len(items), err)
			}
		}
		if len(p.asked) > 1 {
			t.Fatalf("asked %d times at one instant", len(p.asked))
		}
	})
}

// TestMetricAllocations holds the budget of allocations for data by alias.
func TestMetricAllocations(t *testing.T) {
	if raced {
		t.Skip("allocations are not counted under the race detector")
	}
	p := newPlant(t)
	p.at(0, "NBIRTH/plc9", nodeBirth(1))
	payload := edgenode.Payload{Timestamp: ms, Seq: -1, Metrics: []edgenode.Metric{{Alias: 7, Value: float32(52)}, {Alias: 9, Value: uint32(1)}, {Alias: 11, Value: uint64(1)}}}.Encode()
	items := 0
	emit := func(Item) { items++ }
	got := testing.AllocsPerRun(200, func() {
		if err := p.Decode("spBv1.0/farm/NDATA/plc9", payload, noon, emit); err != nil {
			t.Fatal(err)
		}
	})
	if got > 4 || items == 0 {
		t.Errorf("%v allocations, at most 4; %d items", got, items)
	}
	t.Logf("%v allocations", got)
}
