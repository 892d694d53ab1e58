package intake

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rhizostat/policy/sensing"
)

// hold checks what must be true of every message, whatever it carries.
func hold(t *testing.T, r *Router, topic, payload string, isJSON bool) {
	t.Helper()
	items, err := decode(r, topic, payload)
	var refusal *Refusal
	switch {
	case err == nil && len(items) == 0:
		t.Fatalf("%s %q: neither a reading nor a refusal", topic, payload)
	case err != nil && (!errors.As(err, &refusal) || refusal.Topic != topic || refusal.Partial != (len(items) > 0)):
		t.Fatalf("%s %q: %d items with %#v", topic, payload, len(items), err)
	case err != nil && !strings.HasPrefix(err.Error(), topic+": "):
		t.Fatalf("%s: %v", topic, err)
	case isJSON && !json.Valid([]byte(payload)) && len(items) > 0:
		t.Fatalf("%s %q is no JSON and gives %d items", topic, payload, len(items))
	}
	for i := range items {
		holdItem(t, r, &items[i])
	}
	again, err2 := decode(r, topic, payload)
	if len(again) != len(items) || (err == nil) != (err2 == nil) || err != nil && err.Error() != err2.Error() {
		t.Fatalf("%s %q: a second time it gives %d items and %v, before %d and %v", topic, payload, len(again), err2, len(items), err)
	}
}

func holdItem(t *testing.T, r *Router, i *Item) {
	t.Helper()
	if (i.ZoneIndex < 0) == (i.ClimateIndex < 0) || (i.Source == Climate) != (i.ClimateIndex >= 0) || i.Values.Empty() {
		t.Fatalf("%+v is nobody's", i)
	}
	if i.ZoneIndex >= 0 && i.Source >= len(r.zones[i.ZoneIndex].Probes) {
		t.Fatalf("%+v is of no probe of %+v", i, r.zones[i.ZoneIndex])
	}
	if y := i.At.Year(); i.HasTime && (y < 1970 || y > 9999) || !i.HasTime && !i.At.Equal(noon) {
		t.Fatalf("%+v is at no time", i)
	}
	is := source{probe: i.Source}
	for k := range sensing.SignalCount {
		s := sensing.Signal(k)
		if v, ok := i.Values.Get(s); ok && (!s.Possible(v) || scopeOf[s]&is.scope() == 0) {
			t.Fatalf("%s of %v from source %d", s, v, i.Source)
		}
	}
}

// fuzz runs a decoder on a topic, from the payloads of the corpus.
func fuzz(f *testing.F, topics []string, isJSON bool, seeds ...string) {
	r := facility(f)
	for _, s := range seeds {
		f.Add(uint8(0), s)
	}
	f.Fuzz(func(t *testing.T, which uint8, payload string) {
		hold(t, r, topics[int(which)%len(topics)], payload, isJSON)
	})
}

var native = []string{"rhizostat/north/bench-07/telemetry/p1", "rhizostat/north/bench-08/telemetry/zone", "rhizostat/south/yard/telemetry/climate"}

func FuzzFlat(f *testing.F) {
	fuzz(f, native, true,
		`{"time":"2026-05-04T06:05:00Z","water_content":0.532,"bulk_ec":1.1,"substrate_temperature":19.2}`,
		`{"time":1777874700.001,"permittivity":38.2,"x":[1,{"y":null}]}`, `{"\u0077ater_content":1e-400}`, `{"valve_open":true,"drain_ec":-0}`)
}

func FuzzSenML(f *testing.F) {
	fuzz(f, native, true,
		`[{"bn":"a:","bt":1777874700,"bu":"%","bv":0.1,"bver":10,"n":"water_content","u":"/","v":0.532},{"n":"bulk_ec","u":"S/m","v":0.11,"t":-5}]`,
		`[{"n":"valve_open","vb":true},{"n":"x","vs":"y"},{"n":"z","vd":"aGk"},{"n":"w","s":1,"bs":2}]`, `[{"n":"water_content","v":1,"a_":1}]`)
}

func FuzzForeign(f *testing.F) {
	fuzz(f, []string{"plc7/bench-07/p2/sensor", "weather/air"}, true,
		`{"ts":1777874700000,"vwc":53.2,"ec":{"bulk":1.1},"valve":[{"ml":150,"open":true}]}`, `{"rh":"81.5","at":"2026-05-04T11:59:00Z"}`, `{"valve":{"0":{"ml":1}}}`)
}

func FuzzNumber(f *testing.F) {
	fuzz(f, []string{"weather/temp", "scale/b", "plc7/bench-08/valve"}, false, "68", " 9500.5\n", "-1e3", "true", "0x1p4", "nan")
}

func FuzzTopic(f *testing.F) {
	r := facility(f)
	for _, s := range append(native, "plc7/bench-07/p2/sensor", "weather/temp", "scale/b", "row-1/ec", "//", "$SYS/x", "{zone}/ec", "plc7/{zone}/{probe}/sensor") {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, topic string) { hold(t, r, topic, `{"water_content":0.5}`, false) })
}

// TestFlatGivesWhatWentIn: any possible values come out as they went in, in
// whatever order they stand.
func TestFlatGivesWhatWentIn(t *testing.T) {
	r := facility(t)
	rapid.Check(t, func(t *rapid.T) {
		var probe []sensing.Signal
		for i := range sensing.SignalCount {
			if scopeOf[i]&ofProbe != 0 {
				probe = append(probe, sensing.Signal(i))
			}
		}
		chosen := rapid.Permutation(probe).Draw(t, "order")[:rapid.IntRange(1, len(probe)).Draw(t, "count")]
		want := map[sensing.Signal]float64{}
		var members []string
		for _, s := range chosen {
			d := sensing.Signals[s]
			want[s] = rapid.Float64Range(d.Low, d.High).Draw(t, d.Name)
			number, err := json.Marshal(want[s])
			if err != nil {
				t.Fatal(err)
			}
			members = append(members, `"`+d.Name+`":`+string(number))
		}
		items, err := decode(r, native[0], "{"+strings.Join(members, ",")+"}")
		if err != nil || len(items) != 1 {
			t.Fatalf("%v: %d items", err, len(items))
		}
		for i := range sensing.SignalCount {
			got, ok := items[0].Values.Get(sensing.Signal(i))
			if w, in := want[sensing.Signal(i)]; ok != in || ok && got != w {
				t.Fatalf("%s: %v (%v), want %v (%v)", sensing.Signal(i), got, ok, w, in)
			}
		}
	})
}

// TestLongPack: a pack of a day by the minute is taken whole, and one that is too
// large is refused before it is read.
func TestLongPack(t *testing.T) {
	r := facility(t)
	pack := []string{`{"bt":1777874700,"n":"water_content","v":0.5}`}
	for range 1439 {
		pack = append(pack, `{"n":"water_content","v":0.5,"t":`+string(mustJSON(t, len(pack)*60))+`}`)
	}
	items, err := decode(r, native[0], "["+strings.Join(pack, ",")+"]")
	if err != nil || len(items) != 1440 || items[1439].At.Sub(items[0].At).Minutes() != 1439 {
		t.Errorf("%v: %d items", err, len(items))
	}
	_, err = decode(r, native[0], "["+strings.Repeat(" ", maxPayload)+"]")
	if _, reason := Outcome(err); reason != TooLarge {
		t.Errorf("%v", err)
	}
}

func mustJSON(t *testing.T, v any) []byte {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestReasons: the table has each reason once, with all its sentences.
func TestReasons(t *testing.T) {
	seen := map[Reason]bool{}
	for _, d := range Reasons {
		if seen[d.Reason] || d.What == "" || d.Expected == "" || d.Do == "" {
			t.Errorf("%+v", d)
		}
		seen[d.Reason] = true
	}
	if result, reason := Outcome(errors.New("other")); result != Refused || reason != Malformed {
		t.Errorf("%s %s", result, reason)
	}
	if result, reason := Outcome(nil); result != Accepted || reason != "" {
		t.Errorf("%s %s", result, reason)
	}
}

// TestBadUTF8 refuses text that is no UTF-8, in names and in values.
func TestBadUTF8(t *testing.T) {
	r := facility(t)
	for _, payload := range []string{"{\"water_content\":0.5,\"x\":\"\xff\"}", "{\"\xff\":1,\"water_content\":0.5}", "[{\"n\":\"water_content\",\"v\":0.5,\"vx\":\"\xc0\xaf\"}]", "\ufeff{\"water_content\":0.5}"} {
		items, err := decode(r, native[0], payload)
		if _, reason := Outcome(err); reason != NotJSON || len(items) > 0 {
			t.Errorf("%q: %v", payload, err)
		}
	}
}
