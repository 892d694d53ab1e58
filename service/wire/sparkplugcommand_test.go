package wire

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
)

// valves take every setpoint.
func valves() *SparkplugOutput {
	o := &SparkplugOutput{Group: "farm", EdgeNode: "plc9", Device: "valves"}
	for _, name := range PlainNames() {
		o.Metrics = append(o.Metrics, SparkplugSetpoint{name, "{zone}/" + name})
	}
	return o
}

// said are the metrics of a command in words.
func said(t *testing.T, payload []byte) map[string]string {
	t.Helper()
	p, err := ParseSparkplug(payload)
	if err != nil {
		t.Fatal(err)
	}
	if p.HasSeq || !p.HasTimestamp {
		t.Errorf("a command has a timestamp and no sequence number: %+v", p)
	}
	out := map[string]string{}
	for m := range p.Metrics {
		if m.Timestamp != p.Timestamp || m.HasAlias || m.Null != (m.Value == NoValue) {
			t.Errorf("%s: %+v", m.Name, m)
		}
		text := m.Type.String() + " null"
		switch m.Value {
		case LongValue, IntValue:
			text = fmt.Sprintf("%s %d", m.Type, m.Bits)
		case DoubleValue:
			text = fmt.Sprintf("%s %v", m.Type, math.Float64frombits(m.Bits))
		case FloatValue:
			text = fmt.Sprintf("%s %v", m.Type, math.Float32frombits(uint32(m.Bits)))
		}
		out[string(m.Name)] = text
	}
	return out
}

func wantSaid(t *testing.T, what string, got map[string]string, want map[string]string) {
	t.Helper()
	for name, text := range want {
		if got["bench-07/"+name] != text {
			t.Errorf("%s: %s is %q, want %q", what, name, got["bench-07/"+name], text)
		}
	}
}

func approved(t *testing.T, a *Advice) *Setpoint {
	t.Helper()
	b := *a
	b.Approval.State, b.Approval.By, b.Approval.At = policy.StateApproved, "ana", day0
	s, err := SetpointOf(&b)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestCommands: every setpoint as a command says it, the same numbers as on the plain
// topics, instants in ms; null where there is none.
func TestCommands(t *testing.T) {
	o, s := valves(), approved(t, mustFrom(t, sampleAdvice()))
	if o.Topic() != "spBv1.0/farm/DCMD/plc9/valves" || o.Birth() != "spBv1.0/farm/DBIRTH/plc9/valves" {
		t.Errorf("%s, %s", o.Topic(), o.Birth())
	}
	if node := (&SparkplugOutput{Group: "farm", EdgeNode: "plc9"}); node.Topic() != "spBv1.0/farm/NCMD/plc9" || node.Birth() != "spBv1.0/farm/NBIRTH/plc9" {
		t.Errorf("%s, %s", node.Topic(), node.Birth())
	}
	got := said(t, o.Command("bench-07", s, nil, day0))
	if len(got) != len(PlainNames()) {
		t.Errorf("%d metrics", len(got))
	}
	for _, name := range PlainNames() {
		kind, value, _ := strings.Cut(got["bench-07/"+name], " ")
		want := string(s.Plain(name))
		if isInstant(name) {
			want += "000"
		}
		if want == "" {
			want = "null"
		}
		if value != want || kind != SetpointType(name).String() {
			t.Errorf("%s: %s %s, want %s %s", name, kind, value, SetpointType(name), want)
		}
	}
	wantSaid(t, "irrigate", got, map[string]string{"shot_volume_ml": "Double 150", "run_time_s": "Int64 270", "first_shot_at": fmt.Sprintf("DateTime %d", s.Setpoints.FirstShotAt.UnixMilli()), "trigger_water_content": "Double 0.52"})

	for name, text := range said(t, o.Command("bench-07", nil, nil, day0)) {
		if !strings.HasSuffix(text, " null") {
			t.Errorf("nothing is in force, and %s is %s", name, text)
		}
	}
	dry := approved(t, mustFrom(t, sampleWithhold()))
	wantSaid(t, "withhold", said(t, o.Command("bench-07", dry, nil, day0)), map[string]string{
		"max_volume_ml": "Double 0", "shot_volume_ml": "Double 0", "run_time_s": "Int64 0", "first_shot_at": "DateTime null", "target_water_content": "Double null"})
}

// TestCommandsOfDeclaredTypes: a birth certificate's type is kept where the number fits
// it, and never changes the number.
func TestCommandsOfDeclaredTypes(t *testing.T) {
	o, s := valves(), approved(t, mustFrom(t, sampleAdvice()))
	first := s.Setpoints.FirstShotAt.UnixMilli()
	for _, c := range []struct {
		setpoint string
		declared SparkplugType
		want     string
	}{
		{"shot_volume_ml", SparkplugFloat, "Float 150"}, {"shot_volume_ml", SparkplugInt32, "Int32 150"}, {"shot_volume_ml", SparkplugUInt16, "UInt16 150"}, {"shot_volume_ml", SparkplugUInt8, "UInt8 150"},
		{"shot_volume_ml", SparkplugInt8, "Double 150"}, {"shot_volume_ml", SparkplugUInt32, "Double 150"}, {"shot_volume_ml", SparkplugString, "Double 150"}, {"shot_volume_ml", SparkplugBoolean, "Double 150"},
		{"shot_volume_ml", 99, "Double 150"}, {"run_time_s", SparkplugInt16, "Int16 270"}, {"run_time_s", SparkplugUInt8, "Int64 270"}, {"run_time_s", SparkplugDouble, "Double 270"},
		{"trigger_water_content", SparkplugFloat, "Float 0.52"}, {"trigger_water_content", SparkplugInt32, "Double 0.52"},
		{"first_shot_at", SparkplugInt64, fmt.Sprintf("Int64 %d", first)}, {"first_shot_at", SparkplugUInt64, fmt.Sprintf("UInt64 %d", first)}, {"first_shot_at", SparkplugInt32, fmt.Sprintf("DateTime %d", first)},
		{"first_shot_at", SparkplugFloat, fmt.Sprintf("DateTime %d", first)}, {"first_shot_at", SparkplugDouble, fmt.Sprintf("Double %v", float64(first))},
	} {
		types := map[string]SparkplugType{"bench-07/" + c.setpoint: c.declared}
		wantSaid(t, c.declared.String(), said(t, o.Command("bench-07", s, types, day0)), map[string]string{c.setpoint: c.want})
		wantSaid(t, "null", said(t, o.Command("bench-07", nil, types, day0)), map[string]string{c.setpoint: c.declared.String() + " null"})
	}
}

func TestRebirthRequest(t *testing.T) {
	topic, payload := RebirthRequest("farm", "plc9", time.UnixMilli(1795545600000))
	p, err := ParseSparkplug(payload)
	if err != nil {
		t.Fatal(err)
	}
	want := `timestamp: 1795545600000 metrics { name: "Node Control/Rebirth" timestamp: 1795545600000 datatype: 11 boolean_value: true }`
	if got := protobufText(&p); topic != "spBv1.0/farm/NCMD/plc9" || got != want {
		t.Errorf("%s %s, want %s", topic, got, want)
	}
}
