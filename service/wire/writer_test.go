package wire

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"pgregory.net/rapid"

	"rhizostat/policy"
	"rhizostat/policy/advice"
)

// TestStateAsItIs holds the writer against the general library: the state that
// it writes, read into the struct and written by the library, is the same.
func TestStateAsItIs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyState(t)
		blocked := &advice.Reason{Code: "c", Text: rapid.String().Draw(t, "why")}
		if rapid.Bool().Draw(t, "approvable") {
			blocked = nil
		}
		left := &advice.Reason{Code: "d", Text: rapid.String().Draw(t, "what is left out")}
		if rapid.Bool().Draw(t, "whole") {
			left = nil
		}
		got, err := AppendState([]byte("before"), "north", "bench-07", s, blocked, left)
		if err != nil {
			t.Fatal(err)
		}
		payload := jsontext.Value(got[len("before"):])
		if string(got[:len("before")]) != "before" || !payload.IsValid() {
			t.Fatalf("not valid: %s", got)
		}
		read, err := ParseState(payload)
		if err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(read, json.Deterministic(true))
		if err != nil {
			t.Fatal(err)
		}
		if string(again) != string(payload) {
			t.Fatalf("the library writes\n%s, we wrote\n%s", again, payload)
		}
		if s.Known && math.Abs(*read.WaterContent-s.WaterContent) > 0.00005+1e-12 {
			t.Fatalf("water content %v became %v", s.WaterContent, *read.WaterContent)
		}
	})
}

// anyState draws a state with any numbers and words.
func anyState(t *rapid.T) *policy.State {
	s := sampleState()
	s.Known = rapid.Bool().Draw(t, "known")
	share := rapid.Float64Range(-1, 1)
	for _, p := range []*float64{&s.WaterContent, &s.WaterContentSD, &s.AerationMargin, &s.FullPoint, &s.RunningDryback, &s.StabilityIndex, &s.Diagnosis[0].Probability} {
		*p = share.Draw(t, "share")
	}
	s.UptakeML24h = rapid.Float64Range(-1e6, 1e6).Draw(t, "uptake")
	s.Diagnosis[0].LookAt = rapid.String().Draw(t, "look at")
	s.Diagnosis = s.Diagnosis[:rapid.IntRange(0, 1).Draw(t, "findings")]
	if rapid.Bool().Draw(t, "no EC") {
		s.PoreEC = nil
	}
	if rapid.Bool().Draw(t, "no temperature") {
		s.SubstrateTemp = nil
	}
	s.Probes = s.Probes[:rapid.IntRange(0, 2).Draw(t, "probes")]
	return s
}

// TestForecastAsItIs is the same for the forecast.
func TestForecastAsItIs(t *testing.T) {
	payload, err := AppendForecast(nil, "north", "bench-07", sampleForecast())
	if err != nil {
		t.Fatal(err)
	}
	read, err := ParseForecast(payload)
	if err != nil {
		t.Fatal(err)
	}
	again, err := json.Marshal(read)
	if err != nil || string(again) != string(payload) {
		t.Errorf("%v\nthe library writes %.200s\nwe wrote %.200s", err, again, payload)
	}
	if n := len(read.NoWater.High); n != 289 {
		t.Errorf("%d values, want 289", n)
	}
}

// TestDecimal: a rounded number is written as strconv's shortest form of it.
func TestDecimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e9, 1e9).Draw(t, "v")
		decimals := rapid.IntRange(0, 4).Draw(t, "decimals")
		var c checker
		got := string(c.appendDecimal(nil, "v", v, decimals))
		want := strconv.FormatFloat(c.round("v", v, decimals), 'f', -1, 64)
		if got != want || c.err != nil {
			t.Fatalf("%v to %d decimals is %s (%v), want %s", v, decimals, got, c.err, want)
		}
		parsed, err := strconv.ParseFloat(got, 64)
		if err != nil || math.Abs(parsed-v) > 0.5/powersOfTen[decimals]*(1+1e-9)+1e-6*math.Abs(v)*1e-9 {
			t.Fatalf("%v to %d decimals is %s", v, decimals, got)
		}
	})
}

// TestNotANumber: no NaN and no infinity gets out, and the error names what it
// was.
func TestNotANumber(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300} {
		s := sampleState()
		s.DrainFraction24h = bad
		got, err := AppendState([]byte("before"), "north", "bench-07", s, nil, nil)
		var n *NumberError
		if !errors.As(err, &n) || n.Name != "drain_fraction_24h" || !strings.Contains(err.Error(), "north/bench-07") || string(got) != "before" {
			t.Errorf("state with %v: %q, %v", bad, got, err)
		}
		f := sampleForecast()
		f.NoWater.Low[288] = bad
		if _, err := AppendForecast(nil, "north", "bench-07", f); !errors.As(err, &n) || n.Name != "low" {
			t.Errorf("forecast with %v: %v", bad, err)
		}
		a := sampleAdvice()
		a.Setpoints.TriggerByProbe[1].WaterContent = bad
		if _, err := FromAdvice(a); !errors.As(err, &n) || n.Name != "trigger_by_probe.p2" {
			t.Errorf("advice with %v: %v", bad, err)
		}
	}
}

// TestPublishedAdvice is the published form of each kind, in full: what a
// facility's programs rest on.
func TestPublishedAdvice(t *testing.T) {
	for _, c := range []struct {
		from *advice.Advice
		want string
	}{
		{sampleAdvice(), `{"id":"01M87DQ400V3T0W8M2K4R7N9XC","site":"north","zone":"bench-07","issued_at":"2026-11-24T18:40:00Z",` +
			`"valid_from":"2026-11-25T06:00:00Z","valid_until":"2026-11-26T06:00:00Z","action":"irrigate","setpoints":{` +
			`"first_shot_at":"2026-11-25T07:10:00Z","last_shot_by":"2026-11-25T15:40:00Z","trigger_water_content":0.52,"target_water_content":0.6,` +
			`"trigger_by_probe":{"p1":0.55,"p2":0.5512},"shot_volume_ml":150,"run_time_s":270,"min_interval_s":1200,"max_volume_ml":1650,"drain_fraction":0.12,` +
			`"schedule":[{"at":"2026-11-25T07:10:00Z","volume_ml":150,"run_time_s":270},{"at":"2026-11-25T08:10:00Z","volume_ml":150,"run_time_s":270}]},` +
			`"expected":{"peak_water_content":0.61,"trough_water_content":0.49,"overnight_dryback":0.12,"min_air_filled_porosity":0.24,"saturation_s":0,"uptake_ml":1310,"drain_ml":180},` +
			`"reasons":[{"code":"refill-point-ahead","text":"the zone reaches its refill point at 07:10"}],"confidence":0.86,` +
			`"approval":{"required":true,"state":"pending","decide_by":"2026-11-25T07:00:00Z","digest":"DIGEST"},"cautions":["probe p2 is 20 min old"]}`},
		{sampleWithhold(), `{"id":"01M87DQ400V3T0W8M2K4R7N9XD","site":"north","zone":"bench-07","issued_at":"2026-11-24T18:40:00Z",` +
			`"valid_from":"2026-11-25T06:00:00Z","valid_until":"2026-11-26T06:00:00Z","action":"withhold","setpoints":{` +
			`"trigger_water_content":0.47,"max_volume_ml":0,"schedule":[]},` +
			`"expected":{"peak_water_content":0.61,"trough_water_content":0.49,"overnight_dryback":0.12,"min_air_filled_porosity":0.24,"saturation_s":0,"uptake_ml":1310,"drain_ml":180},` +
			`"reasons":[{"code":"refill-point-ahead","text":"the zone reaches its refill point at 07:10"}],"confidence":0.86,` +
			`"approval":{"required":true,"state":"pending","decide_by":"2026-11-25T07:00:00Z","digest":"DIGEST"},"cautions":["probe p2 is 20 min old"]}`},
		{sampleInspect(), `{"id":"01M87DQ400V3T0W8M2K4R7N9XE","site":"north","zone":"bench-07","issued_at":"2026-11-24T18:40:00Z",` +
			`"valid_from":"2026-11-25T06:00:00Z","valid_until":"2026-11-26T06:00:00Z","action":"inspect",` +
			`"reasons":[{"code":"refill-point-ahead","text":"the zone reaches its refill point at 07:10"}],"confidence":0.86,` +
			`"approval":{"required":false},"cautions":["probe p2 is 20 min old"]}`},
	} {
		w := mustFrom(t, c.from)
		got, err := w.Marshal()
		if want := strings.Replace(c.want, "DIGEST", w.Approval.Digest, 1); err != nil || string(got) != want {
			t.Errorf("%v\ngot  %s\nwant %s", err, got, want)
		}
	}
}

// TestSetpointGate: only what is approved, with the digest it was approved
// with, becomes a setpoint message; plain numbers say the same as the JSON.
func TestSetpointGate(t *testing.T) {
	w := mustFrom(t, sampleAdvice())
	if _, err := SetpointOf(w); err == nil {
		t.Error("a pending advice became a setpoint")
	}
	w.Approval.State = policy.StateApproved
	s, err := SetpointOf(w)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]string{
		"first_shot_at": "1795590600", "last_shot_by": "1795621200", "trigger_water_content": "0.52", "target_water_content": "0.6",
		"shot_volume_ml": "150", "run_time_s": "270", "min_interval_s": "1200", "max_volume_ml": "1650", "drain_fraction": "0.12",
		"valid_from": "1795586400", "valid_until": "1795672800",
	}
	for _, name := range PlainNames() {
		if got := string(s.Plain(name)); got != want[name] {
			t.Errorf("%s is %q, want %q", name, got, want[name])
		}
		if got := (*Setpoint)(nil).Plain(name); got != nil {
			t.Errorf("%s of nothing in force is %q", name, got)
		}
	}
	changed := *w
	points := *w.Setpoints
	points.MaxVolumeML++
	changed.Setpoints = &points
	if _, err := SetpointOf(&changed); err == nil {
		t.Error("setpoints changed after the approval became a setpoint")
	}
}

func BenchmarkAppendState(b *testing.B) {
	s := sampleState()
	var buf []byte
	b.ReportAllocs()
	for b.Loop() {
		var err error
		if buf, err = AppendState(buf[:0], "north", "bench-07", s, nil, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(len(buf)))
}

func BenchmarkAppendForecast(b *testing.B) {
	f := sampleForecast()
	var buf []byte
	b.ReportAllocs()
	for b.Loop() {
		var err error
		if buf, err = AppendForecast(buf[:0], "north", "bench-07", f); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(len(buf)))
}

func BenchmarkDigest(b *testing.B) {
	a := mustFrom(b, sampleAdvice())
	b.ReportAllocs()
	for b.Loop() {
		if _, err := a.Digest(); err != nil {
			b.Fatal(err)
		}
	}
}
