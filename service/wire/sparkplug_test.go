package wire

import (
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"pgregory.net/rapid"

	"rhizostat/service/internal/edgenode"
)

// fieldNumbers are those that this package reads and writes.
var fieldNumbers = map[string]protowire.Number{
	"Payload.timestamp": payloadTimestamp, "Payload.metrics": payloadMetrics, "Payload.seq": payloadSeq,
	"Metric.name": metricName, "Metric.alias": metricAlias, "Metric.timestamp": metricTimestamp, "Metric.datatype": metricDatatype,
	"Metric.is_historical": metricHistorical, "Metric.is_null": metricIsNull, "Metric.properties": metricProperties,
	"Metric.int_value": metricInt, "Metric.long_value": metricLong, "Metric.float_value": metricFloat, "Metric.double_value": metricDouble,
	"Metric.boolean_value": metricBoolean, "Metric.string_value": metricString, "Metric.bytes_value": metricBytes,
	"Metric.dataset_value": metricDataSet, "Metric.template_value": metricTemplate,
}

// TestSparkplugReferences holds types, field numbers, topics, sequence numbers and
// payloads against the specification and against what protoc encodes; each row names
// its source.
func TestSparkplugReferences(t *testing.T) {
	file, err := os.Open(filepath.Join("..", "..", "testdata", "references", "sparkplug.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := map[string]int{}
	for _, row := range rows[1:] {
		id, quantity, want := row[0], row[1], row[3]
		var in struct {
			Type, Field, Name, Topic string
			Seq                      uint64
			Text                     string `json:"protobuf_text"`
		}
		if err := json.Unmarshal([]byte(row[2]), &in); err != nil {
			t.Fatalf("%s: %v", id, err)
		}
		var got string
		switch quantity {
		case "data type index":
			n, err := strconv.Atoi(want)
			if err != nil {
				t.Fatalf("%s: %v", id, err)
			}
			got, want = SparkplugType(n).String(), in.Type
		case "protobuf field number":
			got = fmt.Sprint(fieldNumbers[in.Field])
		case "quality code":
			got = fmt.Sprint(map[string]int{"BAD": SparkplugBad, "GOOD": SparkplugGood, "STALE": SparkplugStale}[in.Name])
		case "next seq":
			got = fmt.Sprint(NextSparkplugSequence(in.Seq))
		case "topic is well formed":
			topic, ok := ParseSparkplugTopic(in.Topic)
			if got = fmt.Sprint(ok); ok && topic.String() != in.Topic {
				t.Errorf("%s: %s is written %s", id, in.Topic, topic)
			}
		case "payload bytes":
			raw, err := hex.DecodeString(want)
			if err != nil {
				t.Fatalf("%s: %v", id, err)
			}
			p, err := ParseSparkplug(raw)
			if err != nil {
				t.Errorf("%s: %v", id, err)
				continue
			}
			got, want = protobufText(&p), in.Text
		default:
			t.Fatalf("%s: quantity %q is not known here", id, quantity)
		}
		if got != want {
			t.Errorf("%s %s: got %s, want %s", id, row[2], got, want)
		}
		checked[quantity]++
	}
	for quantity, n := range map[string]int{"data type index": 35, "protobuf field number": len(fieldNumbers), "quality code": 3, "next seq": 3, "topic is well formed": 6, "payload bytes": 9} {
		if checked[quantity] != n {
			t.Errorf("%s: %d rows were checked, want %d", quantity, checked[quantity], n)
		}
	}
}

// protobufText writes a payload as Protocol Buffers' text format does.
func protobufText(p *SparkplugPayload) string {
	var parts []string
	add := func(format string, v ...any) { parts = append(parts, fmt.Sprintf(format, v...)) }
	if p.HasTimestamp {
		add("timestamp: %d", p.Timestamp)
	}
	for m := range p.Metrics {
		add("metrics {")
		if len(m.Name) > 0 {
			add("name: %q", m.Name)
		}
		if m.HasAlias {
			add("alias: %d", m.Alias)
		}
		if m.HasTimestamp {
			add("timestamp: %d", m.Timestamp)
		}
		if m.Type != 0 {
			add("datatype: %d", m.Type)
		}
		if m.Historical {
			add("is_historical: true")
		}
		if m.Null {
			add("is_null: true")
		}
		switch m.Value {
		case IntValue:
			add("int_value: %d", m.Bits)
		case LongValue:
			add("long_value: %d", m.Bits)
		case FloatValue:
			add("float_value: %v", math.Float32frombits(uint32(m.Bits)))
		case DoubleValue:
			add("double_value: %v", math.Float64frombits(m.Bits))
		case BooleanValue:
			add("boolean_value: %t", m.Bits != 0)
		}
		if m.Quality != SparkplugGood {
			add(`properties { keys: "Quality" values { type: 3 int_value: %d } }`, m.Quality)
		}
		add("}")
	}
	if p.HasSeq {
		add("seq: %d", p.Seq)
	}
	return strings.Join(parts, " ")
}

func TestSparkplugTopics(t *testing.T) {
	for _, topic := range []string{
		"spBv1.0", "spBv1.0/", "spBv1.0/farm", "spBv1.0/farm/NBIRTH", "spBv1.0/farm/NBIRTH/", "spBv1.0//NBIRTH/plc9", "spBv1.0/farm/DDATA/plc9/", "spBv1.0/farm/DDATA/plc9/a/b",
		"spBv1.0/farm/XDATA/plc9", "spBv1.0/farm/nbirth/plc9", "spBv1.0/farm/NBIRTH/+", "spBv1.0/STATE/", "spBv1.0/farm/STATE/host1", "rhizostat/north/status", "",
	} {
		if got, ok := ParseSparkplugTopic(topic); ok {
			t.Errorf("%q is read as %+v", topic, got)
		}
	}
	if got, ok := ParseSparkplugTopic("spBv1.0/STATE/NBIRTH/plc9"); !ok || got.Group != "STATE" || got.Message != NodeBirth {
		t.Errorf("a group that is called STATE: %+v, %v", got, ok)
	}
}

// TestSparkplugNumbers: what a value field means as a type. Two's complement is how
// encoders write signed integers (memory: the specification does not spell it out);
// the bit patterns are arithmetic.
func TestSparkplugNumbers(t *testing.T) {
	for _, c := range []struct {
		value    any
		own, old SparkplugType // of the metric, of its birth
		want     float64
		ok       bool
	}{
		{uint32(0xffffffff), SparkplugInt32, 0, -1, true}, {uint64(math.MaxUint64), SparkplugInt64, 0, -1, true}, // spb-076, spb-077
		{uint32(0xff), SparkplugInt8, 0, -1, true}, {uint32(0xffffff80), SparkplugInt8, 0, -128, true}, {uint32(0x7f), SparkplugInt8, 0, 127, true},
		{uint32(0xffffff7f), SparkplugInt8, 0, 0, false}, {uint32(300), SparkplugInt8, 0, 0, false}, {uint32(0x8000), SparkplugInt16, 0, -32768, true},
		{uint64(0xffffffff), SparkplugInt32, 0, -1, true}, {uint64(math.MaxUint64), SparkplugInt32, 0, -1, true}, {uint64(1 << 33), SparkplugInt32, 0, 0, false},
		{uint32(255), SparkplugUInt8, 0, 255, true}, {uint32(256), SparkplugUInt8, 0, 0, false}, {uint32(0xffffffff), SparkplugUInt32, 0, 4294967295, true},
		{uint64(4294967295), SparkplugUInt32, 0, 4294967295, true}, {uint64(4294967296), SparkplugUInt32, 0, 0, false}, {uint64(math.MaxUint64), SparkplugUInt64, 0, 18446744073709551615, true},
		{uint32(5), SparkplugInt64, 0, 0, false}, // its field has 32 bits too few
		{uint32(0xffffffff), 0, SparkplugInt32, -1, true}, {uint32(0xffffffff), SparkplugUInt32, SparkplugInt32, 4294967295, true}, {uint32(5), 0, 0, 0, false},
		{float32(52.25), SparkplugFloat, 0, 52.25, true}, {float32(52.25), 0, 0, 52.25, true}, {float64(0.5225), 0, SparkplugDouble, 0.5225, true},
		{float64(0.5), SparkplugFloat, 0, 0.5, true}, {float64(0.5), SparkplugInt32, 0, 0, false}, {uint32(1), SparkplugFloat, 0, 0, false},
		{uint64(1795545600000), SparkplugDateTime, 0, 0, false}, {true, SparkplugBoolean, 0, 0, false}, {"5", SparkplugString, 0, 0, false}, {[]byte{5}, 17, 0, 0, false}, {nil, SparkplugDouble, 0, 0, false},
	} {
		p, err := ParseSparkplug(edgenode.Payload{Seq: -1, Metrics: []edgenode.Metric{{Name: "m", Type: uint32(c.own), Value: c.value}}}.Encode())
		if err != nil {
			t.Fatal(err)
		}
		for m := range p.Metrics {
			if got, ok := m.Number(c.old); ok != c.ok || ok && got != c.want {
				t.Errorf("%T %v as %s (born %s): %v, %v; want %v, %v", c.value, c.value, c.own, c.old, got, ok, c.want, c.ok)
			}
		}
	}
}

// TestNotSparkplug: what breaks the format is an error of one sentence.
func TestNotSparkplug(t *testing.T) {
	sound := edgenode.Payload{Timestamp: 1795545600000, Seq: 7, Metrics: []edgenode.Metric{{Name: "m", Alias: 7, Type: 10, Value: 0.5, Quality: 500}}}.Encode()
	if _, err := ParseSparkplug(sound); err != nil {
		t.Fatal(err)
	}
	bad := [][]byte{
		[]byte(`{"water_content":0.5}`), []byte("52.3"), {0x08}, {0x12, 0x05, 0x0a}, {0x0a, 0x00}, {0x10, 0x01}, {0x1a, 0x01, 0x61}, // timestamp and metrics of other wire types
		{0x12, 0x02, 0x08, 0x01}, {0x12, 0x05, 0x55, 0, 0, 0, 0}, {0x12, 0x04, 0x4a, 0x02, 0x08, 0x01}, {0x07}, {0x0b, 0x08, 0x01}, {0x0c},
		{0x08, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x01},
	}
	for cut := 1; cut < len(sound); cut++ {
		if _, err := ParseSparkplug(sound[:cut]); err != nil { // between two fields it is a shorter message
			bad = append(bad, sound[:cut])
		}
	}
	if len(bad) < 40 {
		t.Errorf("only %d broken payloads", len(bad))
	}
	for _, b := range bad {
		if _, err := ParseSparkplug(b); err == nil || strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), "payload of Sparkplug B: ") {
			t.Errorf("%x: %v", b, err)
		}
	}
}

// drawPayload draws what an edge node may send.
func drawPayload(t *rapid.T) edgenode.Payload {
	p := edgenode.Payload{Timestamp: rapid.Uint64().Draw(t, "timestamp"), Seq: rapid.IntRange(-1, 255).Draw(t, "seq")}
	for range rapid.IntRange(0, 6).Draw(t, "metrics") {
		m := edgenode.Metric{
			Name: rapid.String().Draw(t, "name"), Alias: rapid.Uint64().Draw(t, "alias"), Timestamp: rapid.Uint64().Draw(t, "at"), Type: rapid.Uint32Range(0, 40).Draw(t, "type"),
			Historical: rapid.Bool().Draw(t, "historical"), Null: rapid.Bool().Draw(t, "null"), Quality: rapid.SampledFrom([]uint32{0, 1, 192, 500}).Draw(t, "quality"),
		}
		switch rapid.IntRange(0, 7).Draw(t, "value") {
		case 0:
			m.Value = rapid.Uint32().Draw(t, "int")
		case 1:
			m.Value = rapid.Uint64().Draw(t, "long")
		case 2:
			m.Value = rapid.Float32().Draw(t, "float")
		case 3:
			m.Value = rapid.Float64().Draw(t, "double")
		case 4:
			m.Value = rapid.Bool().Draw(t, "boolean")
		case 5:
			m.Value = rapid.String().Draw(t, "string")
		case 6:
			m.Value = rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")
		}
		p.Metrics = append(p.Metrics, m)
	}
	return p
}

// TestSparkplugRoundTrip: what an edge node writes is read as it was meant.
func TestSparkplugRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sent := drawPayload(t)
		p, err := ParseSparkplug(sent.Encode())
		if err != nil {
			t.Fatal(err)
		}
		if p.Timestamp != sent.Timestamp || p.HasTimestamp != (sent.Timestamp > 0) || p.HasSeq != (sent.Seq >= 0) || p.HasSeq && p.Seq != uint64(sent.Seq) || p.Count != len(sent.Metrics) {
			t.Fatalf("%+v of %+v", p, sent)
		}
		i := 0
		for m := range p.Metrics {
			s := sent.Metrics[i]
			if string(m.Name) != s.Name || m.Alias != s.Alias || m.HasAlias != (s.Alias > 0) || m.Timestamp != s.Timestamp || m.Type != SparkplugType(s.Type) || m.Historical != s.Historical || m.Null != s.Null {
				t.Fatalf("%+v of %+v", m, s)
			}
			if want := s.Quality; want > 0 && m.Quality != want || want == 0 && m.Quality != SparkplugGood {
				t.Fatalf("quality %d of %d", m.Quality, want)
			}
			var same bool
			switch v := s.Value.(type) {
			case nil:
				same = m.Value == NoValue
			case uint32:
				same = m.Value == IntValue && m.Bits == uint64(v)
			case uint64:
				same = m.Value == LongValue && m.Bits == v
			case float32:
				same = m.Value == FloatValue && m.Bits == uint64(math.Float32bits(v))
			case float64:
				same = m.Value == DoubleValue && m.Bits == math.Float64bits(v)
			case bool:
				same = m.Value == BooleanValue && (m.Bits != 0) == v
			case string:
				same = m.Value == StringValue && string(m.Text) == v
			case []byte:
				same = m.Value == OtherValue
			}
			if !same {
				t.Fatalf("%+v of %+v", m, s)
			}
			i++
		}
	})
}

func FuzzSparkplugPayload(f *testing.F) {
	f.Add(edgenode.Payload{Timestamp: 1795545600000, Seq: 0, Metrics: []edgenode.Metric{{Name: "bdSeq", Type: 4, Value: uint64(3)}, {Name: "a", Alias: 7, Quality: 500, Value: float32(5)}}}.Encode())
	f.Add([]byte{0x08, 0x80, 0x01})
	f.Add([]byte(`{"a":1}`))
	f.Fuzz(func(t *testing.T, payload []byte) {
		p, err := ParseSparkplug(payload)
		if err != nil {
			return
		}
		n := 0
		for m := range p.Metrics {
			n++
			for born := range SparkplugText + 1 {
				if x, ok := m.Number(born); ok && m.Value != FloatValue && m.Value != DoubleValue && x != math.Trunc(x) {
					t.Fatalf("%+v is the integer %v", m, x)
				}
			}
		}
		if n != p.Count {
			t.Fatalf("%d metrics, then %d", p.Count, n)
		}
	})
}
