package wire

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v4"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
)

// compiled are all schemas, formats asserted.
func compiled(t testing.TB) map[string]*jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	for _, name := range SchemaNames() {
		b, err := Schema(name)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
		if err != nil {
			t.Fatal(name, err)
		}
		if err := c.AddResource(SchemaBase+name+".json", doc); err != nil {
			t.Fatal(name, err)
		}
	}
	out := map[string]*jsonschema.Schema{}
	for _, name := range SchemaNames() {
		s, err := c.Compile(SchemaBase + name + ".json")
		if err != nil {
			t.Fatal(name, err)
		}
		if s.ID != SchemaBase+name+".json#" && s.ID != SchemaBase+name+".json" {
			t.Errorf("schema %s has id %s", name, s.ID)
		}
		out[name] = s
	}
	return out
}

func valid(t testing.TB, s *jsonschema.Schema, payload []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(payload))
	if err != nil {
		t.Fatalf("%v in %s", err, payload)
	}
	return s.Validate(v)
}

// samples are messages by schema, as this package writes them.
func samples(t testing.TB) map[string][][]byte {
	t.Helper()
	must := func(b []byte, err error) []byte {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	irrigate, dry, look := mustFrom(t, sampleAdvice()), mustFrom(t, sampleWithhold()), mustFrom(t, sampleInspect())
	out := map[string][][]byte{}
	for _, a := range []*Advice{irrigate, dry, look} {
		out["advice"] = append(out["advice"], must(a.Marshal()))
		if a.Setpoints == nil {
			continue
		}
		b := *a
		b.Approval.State, b.Approval.By, b.Approval.At, b.Approval.Note, b.Approval.Under = policy.StateApproved, "ana", day0, "n", irrigate.ID
		out["advice"] = append(out["advice"], must(b.Marshal()))
		s, err := SetpointOf(&b)
		if err != nil {
			t.Fatal(err)
		}
		out["setpoint"] = append(out["setpoint"], must(s.Marshal()))
		for _, name := range PlainNames() {
			if p := s.Plain(name); p != nil {
				out["setpoint-number"] = append(out["setpoint-number"], p)
			}
		}
	}
	blocked := &advice.Reason{Code: "ledger-unavailable", Text: "the disk is full"}
	unknown := &policy.State{Time: day0, Probes: []policy.ProbeState{{ID: "p1", Health: "stale"}}}
	out["state"] = [][]byte{
		must(AppendState(nil, "north", "bench-07", sampleState(), nil, nil)),
		must(AppendState(nil, "north", "bench-07", sampleState(), blocked, blocked)),
		must(AppendState(nil, "north", "bench-07", unknown, nil, blocked)),
	}
	out["forecast"] = [][]byte{must(AppendForecast(nil, "north", "bench-07", sampleForecast()))}
	d := Decision{Advice: irrigate.ID, Digest: irrigate.Approval.Digest, Decision: Approve, By: "ana"}
	covering := d
	covering.Covers = &Covers{Until: day0.Add(72 * time.Hour), MaxVolumeML: 1800, MaxShotML: 200, EarliestShot: 390, LatestShot: 990}
	out["decision"] = [][]byte{must(d.Marshal()), must(covering.Marshal())}
	out["decision-result"] = [][]byte{must(Accept(d, day0).Marshal())}
	for _, code := range Refusals() {
		out["decision-result"] = append(out["decision-result"], must(Refuse(d, advice.Reason{Code: string(code), Text: "why"}, day0).Marshal()))
	}
	out["decision-result"] = append(out["decision-result"], must(Refuse(Decision{}, advice.Reason{Code: string(Malformed), Text: "why"}, day0).Marshal()))
	for _, kind := range eventKinds {
		e := Event{Time: day0, Kind: kind, By: "ana", VolumeML: ptr(250), Probe: "p1", HeightCM: ptr(7), Container: "pot-7l", Substrate: "coir-mix"}
		out["event"] = append(out["event"], must(e.Marshal()))
	}
	out["status"] = [][]byte{must(Status{Status: Online, Version: "1.0.0", StartedAt: day0, Instance: "rhizostat-1", Ledger: "k3j9"}.Marshal()), must(Status{Status: Offline, Version: "1.0.0", StartedAt: day0}.Marshal()),
		must(Status{Status: Offline, Version: "1.0.0", StartedAt: day0, Ended: true}.Marshal())}
	out["telemetry"] = [][]byte{
		// The example of the contract, and the first of RFC 8428, 5.1.1.
		[]byte(`{"time":"2026-05-04T06:05:00Z","water_content":0.532,"bulk_ec":1.1,"substrate_temperature":19.2}`),
		[]byte(`[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`),
	}
	return out
}

// TestSchemas: every message that this package writes keeps to its schema, and
// each schema has at least one.
func TestSchemas(t *testing.T) {
	all := samples(t)
	for name, s := range compiled(t) {
		if len(all[name]) == 0 {
			t.Errorf("schema %s is held against no message", name)
		}
		for _, payload := range all[name] {
			if err := valid(t, s, payload); err != nil {
				t.Errorf("%s: %v\n%s", name, err, payload)
			}
		}
	}
}

// TestSchemasRefuse: the schemas can tell; each of these breaks one promise.
func TestSchemasRefuse(t *testing.T) {
	all, schemas := samples(t), compiled(t)
	for _, c := range []struct{ schema, old, new string }{
		{"advice", `"pending"`, `"perhaps"`},
		{"advice", `"action":"irrigate"`, `"action":"inspect"`},
		{"advice", `"action":"irrigate"`, `"action":"withhold"`},
		{"advice", `"max_volume_ml":1650`, `"max_volume_ml":-1`},
		{"advice", `"target_water_content":0.6`, `"target_water_content":0.60001`},
		{"advice", `,"digest":"sha-256:`, `,"digest":"md5:`},
		{"advice", `"confidence"`, `"confident"`},
		{"setpoint", `"approved_by":"ana"`, `"approved_by":""`},
		{"setpoint", `T06:00:00Z"`, `T06:00:00+01:00"`},
		{"state", `"water_content_sd":0.006,`, ``},
		{"state", `"health":"ok"`, `"health":"fine"`},
		{"state", `"position":"in"`, `"position":"inside"`},
		{"state", `"emitter-fault"`, `"bad-luck"`},
		{"forecast", `"high":[`, `"high":[0.5,`},
		{"decision", `"approve"`, `"approved"`},
		{"decision-result", `"accepted"`, `"refused"`},
		{"event", `"kind":"transplanted"`, `"kind":"repotted"`},
		{"status", `"online"`, `"on"`},
		{"telemetry", `0.532`, `"0.532"`},
	} {
		payload := strings.Replace(string(all[c.schema][0]), c.old, c.new, 1)
		if payload == string(all[c.schema][0]) {
			t.Errorf("%s has no %s to change", c.schema, c.old)
			continue
		}
		if valid(t, schemas[c.schema], []byte(payload)) == nil {
			t.Errorf("%s with %s in place of %s keeps to its schema", c.schema, c.new, c.old)
		}
	}
}

// TestSchemasAgreeWithReaders: what a reader accepts keeps to the schema of the
// message, and the examples of a wrong one are refused by both.
func TestSchemasAgreeWithReaders(t *testing.T) {
	schemas := compiled(t)
	for _, c := range decisionCases {
		_, err := ParseDecision([]byte(c.payload))
		agree(t, schemas["decision"], c.payload, err)
	}
	for _, c := range eventCases {
		_, err := ParseEvent([]byte(c.payload), day0)
		agree(t, schemas["event"], c.payload, err)
	}
}

func agree(t *testing.T, s *jsonschema.Schema, payload string, read error) {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(payload))
	if err != nil {
		return // no JSON: no schema to keep to
	}
	if read == nil && s.Validate(v) != nil {
		t.Errorf("%s is read, its schema says %v", payload, s.Validate(v))
	}
}

// TestSignals: the telemetry schema knows exactly the signals.
func TestSignals(t *testing.T) {
	var doc struct {
		OneOf []struct {
			Properties map[string]any `yaml:"properties"`
		} `yaml:"oneOf"`
	}
	b, err := Schema("telemetry")
	if err != nil {
		t.Fatal(err)
	}
	if err := yaml.Unmarshal(b, &doc); err != nil { // JSON is YAML
		t.Fatal(err)
	}
	flat := doc.OneOf[0].Properties
	for i := range sensing.SignalCount {
		if name := sensing.Signal(i).String(); flat[name] == nil {
			t.Errorf("signal %s is not in the schema", name)
		}
	}
	if len(flat) != sensing.SignalCount+1 { // and time
		t.Errorf("the schema has %d members, want %d signals and time", len(flat), sensing.SignalCount)
	}
}

// TestAsyncAPI: the document has a channel for each topic that Topics builds,
// with the QoS and retention that is published, and each payload refers to a
// schema that is there.
func TestAsyncAPI(t *testing.T) {
	var doc struct {
		AsyncAPI string `yaml:"asyncapi"`
		Channels map[string]struct {
			Address    string         `yaml:"address"`
			Messages   map[string]any `yaml:"messages"`
			Parameters map[string]any `yaml:"parameters"`
		} `yaml:"channels"`
		Operations map[string]struct {
			Action  string `yaml:"action"`
			Channel struct {
				Ref string `yaml:"$ref"`
			} `yaml:"channel"`
			Bindings struct {
				MQTT struct {
					QoS    byte `yaml:"qos"`
					Retain bool `yaml:"retain"`
				} `yaml:"mqtt"`
			} `yaml:"bindings"`
		} `yaml:"operations"`
		Components struct {
			Messages map[string]struct {
				Payload struct {
					Schema any `yaml:"schema"` // a reference, or the text of one for Protocol Buffers
				} `yaml:"payload"`
			} `yaml:"messages"`
			Parameters map[string]struct {
				Enum []string `yaml:"enum"`
			} `yaml:"parameters"`
		} `yaml:"components"`
	}
	if err := yaml.Unmarshal(AsyncAPI, &doc); err != nil {
		t.Fatal(err)
	}
	if doc.AsyncAPI != "3.0.0" {
		t.Errorf("asyncapi %q", doc.AsyncAPI)
	}
	topics := Topics{Root: "{root}", Site: "{site}"}
	want := map[string]struct {
		address, action string
		qos             byte
		retain          bool
	}{
		"advice": {topics.Advice("{zone}"), "send", 1, true}, "setpoint": {topics.Setpoint("{zone}"), "send", 1, true},
		"setpointNumber": {topics.SetpointNumber("{zone}", "{name}"), "send", 1, true},
		"state":          {topics.State("{zone}"), "send", 0, true}, "forecast": {topics.Forecast("{zone}"), "send", 0, true},
		"decision": {topics.Decision("{zone}"), "receive", 1, false}, "decisionResult": {topics.DecisionResult("{zone}"), "send", 1, false},
		"event": {topics.Event("{zone}"), "receive", 1, false}, "telemetry": {topics.Telemetry("{zone}", "{probe}"), "receive", 1, false},
		"status":        {topics.Status(), "send", 1, true},
		"nodeMessage":   {SparkplugTopic{Group: "{group}", Message: "{nodeMessage}", EdgeNode: "{edge_node}"}.String(), "receive", 0, false},
		"deviceMessage": {SparkplugTopic{Group: "{group}", Message: "{deviceMessage}", EdgeNode: "{edge_node}", Device: "{device}"}.String(), "receive", 0, false},
		"nodeCommand":   {(&SparkplugOutput{Group: "{group}", EdgeNode: "{edge_node}"}).Topic(), "send", 0, false},
		"deviceCommand": {(&SparkplugOutput{Group: "{group}", EdgeNode: "{edge_node}", Device: "{device}"}).Topic(), "send", 0, false},
	}
	if len(doc.Channels) != len(want) || len(doc.Operations) != len(want) {
		t.Errorf("%d channels, %d operations; want %d", len(doc.Channels), len(doc.Operations), len(want))
	}
	for _, op := range doc.Operations {
		name := strings.TrimPrefix(op.Channel.Ref, "#/channels/")
		c, w := doc.Channels[name], want[name]
		if c.Address != w.address || op.Action != w.action || op.Bindings.MQTT.QoS != w.qos || op.Bindings.MQTT.Retain != w.retain {
			t.Errorf("channel %s: %s %s QoS %d retain %v, want %+v", name, op.Action, c.Address, op.Bindings.MQTT.QoS, op.Bindings.MQTT.Retain, w)
		}
		for p := range c.Parameters {
			if !strings.Contains(c.Address, "{"+p+"}") {
				t.Errorf("channel %s has a parameter %s and no place for it", name, p)
			}
		}
		if c.Messages["sparkplug"] != nil {
			continue // below
		}
		of, _ := doc.Components.Messages[name].Payload.Schema.(map[string]any)
		ref, _ := of["$ref"].(string)
		schema := strings.TrimSuffix(strings.TrimPrefix(ref, "./schemas/"), ".json")
		if !slices.Contains(SchemaNames(), schema) {
			t.Errorf("message %s refers to %q", name, ref)
		}
	}
	proto, _ := doc.Components.Messages["sparkplug"].Payload.Schema.(string)
	_, metric, _ := strings.Cut(proto, "message Metric {")
	metric, payload, _ := strings.Cut(metric, "oneof value {")
	values, payload, _ := strings.Cut(payload, "}\n  }")
	checked := 0
	for message, text := range map[string]string{"Metric.": metric + values, "Payload.": payload} {
		for _, m := range regexp.MustCompile(`(\w+) = (\d+);`).FindAllStringSubmatch(text, -1) {
			checked++
			if want := fmt.Sprint(fieldNumbers[message+m[1]]); m[2] != want {
				t.Errorf("%s%s = %s, want %s", message, m[1], m[2], want)
			}
		}
	}
	if checked != len(fieldNumbers)-2 { // what holds no number is not written out
		t.Errorf("%d of %d fields are written out", checked, len(fieldNumbers))
	}
	if got := doc.Components.Parameters["name"].Enum; fmt.Sprint(got) != fmt.Sprint(PlainNames()) {
		t.Errorf("names of plain numbers %v, want %v", got, PlainNames())
	}
}
