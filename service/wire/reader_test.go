package wire

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rhizostat/policy"
)

const goodDigest = "sha-256:0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"

// decisionCases are decisions and a part of what is said of them, "" for good
// ones.
var decisionCases = []struct{ payload, want string }{
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana"}`, ""},
	{` {"advice":"A","digest":"` + goodDigest + `","decision":"reject","by":"ana","note":"too wet","more":{"x":[1]}}` + "\n", ""},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","covers":` + goodCovers + `}`, ""},
	{``, "not a JSON object"},
	{`null`, "not a JSON object"},
	{`[]`, "not a JSON object"},
	{`{`, "decision: "},
	{`{}`, "advice is missing"},
	{`{"advice":1,"digest":"` + goodDigest + `","decision":"approve","by":"ana"}`, "as strings"},
	{`{"advice":"A","advice":"B","digest":"` + goodDigest + `","decision":"approve","by":"ana"}`, "decision: "},
	{`{"advice":"A","digest":"` + strings.ToUpper(goodDigest) + `","decision":"approve","by":"ana"}`, "not a digest"},
	{`{"advice":"A","digest":"sha-256:00","decision":"approve","by":"ana"}`, "not a digest"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"Approve","by":"ana"}`, "expected approve, reject or withdraw"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve"}`, "by is missing"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"a\nb"}`, "is not a name"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"` + strings.Repeat("a", 65) + `"}`, "is not a name"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","note":"` + strings.Repeat("a", 2001) + `"}`, "note has 2001 bytes"},
	{`{"advice":"` + strings.Repeat("a", 65) + `","digest":"` + goodDigest + `","decision":"approve","by":"ana"}`, "advice has 65 bytes"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"reject","by":"ana","covers":` + goodCovers + `}`, "only an approval"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","covers":{}}`, "covers.until is missing"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","covers":` + strings.Replace(goodCovers, `1800`, `1e400`, 1) + `}`, "decision: "},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","covers":` + strings.Replace(goodCovers, `1800`, `-1`, 1) + `}`, "below 0"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","covers":` + strings.Replace(goodCovers, `,"max_shot_ml":200`, ``, 1) + `}`, "covers.max_shot_ml is missing"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","covers":` + strings.Replace(goodCovers, `06:30`, `6:30`, 1) + `}`, "decision: "},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","covers":` + strings.Replace(goodCovers, `06:30`, `16:30`, 1) + `}`, "not before latest_shot"},
	{`{"advice":"A","digest":"` + goodDigest + `","decision":"approve","by":"ana","covers":` + strings.Replace(goodCovers, `2026-05-09T00`, `0000-01-01T00`, 1) + `}`, "covers.until is in the year -1"},
	{`{"payload":"` + strings.Repeat("a", MaxDecision) + `"}`, "expected at most 16384"},
}

const goodCovers = `{"until":"2026-05-09T00:00:00+02:00","max_volume_ml":1800,"max_shot_ml":200,"earliest_shot":"06:30","latest_shot":"16:30"}`

func TestParseDecision(t *testing.T) {
	for _, c := range decisionCases {
		d, err := ParseDecision([]byte(c.payload))
		says(t, c.payload, err, c.want)
		if c.want == "" && (d.Advice != "A" || d.Digest != goodDigest || d.By != "ana") {
			t.Errorf("%s was read as %+v", c.payload, d)
		}
	}
	d, err := ParseDecision([]byte(decisionCases[2].payload))
	want := &Covers{time.Date(2026, 5, 8, 22, 0, 0, 0, time.UTC), 1800, 200, 390, 990}
	if diff := cmp.Diff(want, d.Covers); diff != "" || err != nil {
		t.Errorf("covers: %v\n%s", err, diff)
	}
}

// says wants an error with a part of its sentence, in the house's form.
func says(t *testing.T, payload string, err error, want string) {
	t.Helper()
	if len(payload) > 120 {
		payload = payload[:120]
	}
	if want == "" {
		if err != nil {
			t.Errorf("%s: %v", payload, err)
		}
		return
	}
	if err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("%s: %v, want %q in it", payload, err, want)
		return
	}
	if s := err.Error(); !strings.Contains(s, "expected") && !strings.Contains(s, "leave") || strings.HasSuffix(s, ".") || len(s) > 600 {
		t.Errorf("%s: the sentence %q does not say what was expected", payload, s)
	}
}

// eventCases are events and a part of what is said of them.
var eventCases = []struct{ payload, want string }{
	{`{"kind":"shoots-pruned","by":"ana"}`, ""},
	{`{"time":"2026-11-25T07:00:00+01:00","kind":"transplanted","by":"ana","container":"pot-7l","substrate":"coir-mix"}`, ""},
	{`{"time":1795590000,"kind":"watered-by-hand","by":"ana","volume_ml":250.5,"weather":"dry"}`, ""},
	{`{"time":null,"kind":"probe-moved","by":"ana","probe":"p1","height_cm":0}`, ""},
	{`nothing`, "not a JSON object"},
	{`{"kind":"shoots-pruned"}`, "by is missing"},
	{`{"by":"ana"}`, `kind "" is unknown`},
	{`{"kind":"pruned","by":"ana"}`, `kind "pruned" is unknown`},
	{`{"kind":1,"by":"ana"}`, "event: "},
	{`{"time":"yesterday","kind":"crop-ended","by":"ana"}`, "expected RFC 3339"},
	{`{"time":"2026-13-25T07:00:00Z","kind":"crop-ended","by":"ana"}`, "expected RFC 3339"},
	{`{"time":1e400,"kind":"crop-ended","by":"ana"}`, "out of range"},
	{`{"time":-5e12,"kind":"crop-ended","by":"ana"}`, "out of range"},
	{`{"time":1795590000000,"kind":"crop-ended","by":"ana"}`, "out of range"},
	{`{"time":"0001-01-01T00:00:00Z","kind":"crop-ended","by":"ana"}`, "out of range"},
	{`{"time":true,"kind":"crop-ended","by":"ana"}`, "seconds since 1970"},
	{`{"kind":"watered-by-hand","by":"ana"}`, "volume_ml of watered-by-hand is missing"},
	{`{"kind":"watered-by-hand","by":"ana","volume_ml":0}`, "above 0"},
	{`{"kind":"watered-by-hand","by":"ana","volume_ml":"250"}`, "event: "},
	{`{"kind":"watered-by-hand","by":"ana","volume_ml":1e400}`, "event: "},
	{`{"kind":"probe-moved","by":"ana","height_cm":7}`, "probe is missing"},
	{`{"kind":"probe-moved","by":"ana","probe":"p1"}`, "height_cm of probe-moved is missing"},
	{`{"kind":"probe-moved","by":"ana","probe":"p1","height_cm":-1}`, "0 to 100"},
	{`{"kind":"transplanted","by":"ana","container":"` + strings.Repeat("a", 65) + `"}`, "not a name of the site file"},
}

func TestParseEvent(t *testing.T) {
	at := []time.Time{day0, day0, time.Unix(1795590000, 0).UTC(), day0}
	for i, c := range eventCases {
		e, err := ParseEvent([]byte(c.payload), day0)
		says(t, c.payload, err, c.want)
		if c.want == "" && !e.Time.Equal(at[i]) {
			t.Errorf("%s is at %s, want %s", c.payload, e.Time, at[i])
		}
	}
	e, err := ParseEvent([]byte(eventCases[2].payload), day0)
	want := policy.OperatorEvent{Kind: policy.WateredByHand, At: at[2], By: "ana", VolumeML: 250.5}
	if diff := cmp.Diff(want, e.Operator()); diff != "" || err != nil {
		t.Errorf("%v\n%s", err, diff)
	}
}

// FuzzParseDecision: whatever is read can be written, and read again as the
// same.
func FuzzParseDecision(f *testing.F) {
	for _, c := range decisionCases {
		f.Add([]byte(c.payload))
	}
	f.Fuzz(func(t *testing.T, payload []byte) {
		d, err := ParseDecision(payload)
		if err != nil {
			if len(d.Advice) > maxID || len(d.By) > maxBy || len(err.Error()) > 2000 {
				t.Fatalf("a refused decision leaves %+v to be repeated, and %d bytes of text", d, len(err.Error()))
			}
			return
		}
		b, err := d.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseDecision(b)
		if diff := cmp.Diff(d, again); diff != "" || err != nil {
			t.Fatalf("%v\n%s", err, diff)
		}
	})
}

// FuzzParseEvent: the same for events.
func FuzzParseEvent(f *testing.F) {
	for _, c := range eventCases {
		f.Add([]byte(c.payload))
	}
	f.Fuzz(func(t *testing.T, payload []byte) {
		e, err := ParseEvent(payload, day0)
		if err != nil {
			return
		}
		b, err := e.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseEvent(b, day0)
		if diff := cmp.Diff(e, again, cmp.Comparer(func(a, b time.Time) bool { return a.Equal(b) })); diff != "" || err != nil {
			t.Fatalf("%v\n%s", err, diff)
		}
	})
}

// FuzzParse: a topic that is taken apart can be put together again.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"r/north/status", "r/north/b/advice", "r/north/b/setpoint/run_time_s", "r/north/b/telemetry/p1", "r/north/b/decision/result", "r/+/#", "r//b/state"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, topic string) {
		p, ok := Parse("r", topic)
		if !ok {
			return
		}
		s := Topics{"r", p.Site}
		got := s.Status()
		switch {
		case p.Kind == KindTelemetry:
			got = s.Telemetry(p.Zone, p.Name)
		case p.Kind == KindSetpoint && p.Name != "":
			got = s.SetpointNumber(p.Zone, p.Name)
		case p.Kind != KindStatus:
			got = s.of(p.Zone, p.Kind)
		}
		if got != topic {
			t.Fatalf("%q was taken apart as %+v, which is %q", topic, p, got)
		}
	})
}

func TestTopics(t *testing.T) {
	s := Topics{Root: "farm/rhizostat", Site: "north"}
	for topic, want := range map[string]Place{
		s.Advice("b"):                             {"north", "b", KindAdvice, ""},
		s.Setpoint("b"):                           {"north", "b", KindSetpoint, ""},
		s.SetpointNumber("b", "max_volume_ml"):    {"north", "b", KindSetpoint, "max_volume_ml"},
		s.State("b"):                              {"north", "b", KindState, ""},
		s.Forecast("b"):                           {"north", "b", KindForecast, ""},
		s.Decision("b"):                           {"north", "b", KindDecision, ""},
		s.DecisionResult("b"):                     {"north", "b", KindDecisionResult, ""},
		s.Event("b"):                              {"north", "b", KindEvent, ""},
		s.Telemetry("house-1", "climate"):         {"north", "house-1", KindTelemetry, "climate"},
		s.Status():                                {"north", "", KindStatus, ""},
		"farm/rhizostat/north/status/telemetry/p": {"north", "status", KindTelemetry, "p"},
	} {
		if got, ok := Parse("farm/rhizostat", topic); !ok || got != want {
			t.Errorf("%s is %+v %v, want %+v", topic, got, ok, want)
		}
	}
	for _, topic := range []string{
		"", "farm", "farm/rhizostat/north", "farm/rhizostat//b/advice", "farm/rhizostat/North/b/advice", "farm/rhizostat/north/b/advice/",
		"farm/rhizostat/north/b/setpoint/schedule", "farm/rhizostat/north/b/telemetry", "farm/rhizostat/north/b/telemetry/p/q", "other/north/b/advice",
	} {
		if got, ok := Parse("farm/rhizostat", topic); ok {
			t.Errorf("%q is %+v, want it refused", topic, got)
		}
	}
}

func TestParseStatus(t *testing.T) {
	b, err := Status{Status: Online, Version: "1.0.0", StartedAt: day0.Add(time.Millisecond), Instance: "x", Ledger: "y"}.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	if got, err := ParseStatus(b); err != nil || got != (Status{Status: Online, Version: "1.0.0", StartedAt: day0, Instance: "x", Ledger: "y"}) {
		t.Errorf("%s was read as %+v, %v", b, got, err)
	}
	for _, bad := range []string{"", "online", `{"status":"away"}`, `{"status":1}`} {
		if _, err := ParseStatus([]byte(bad)); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}
