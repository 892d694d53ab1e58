package intake

import (
	"errors"
	"strings"
	"testing"
)

// What a broker had kept is no reading of now: of it is taken what says itself
// when it was measured, and nothing is counted twice.
func TestRetainedMessages(t *testing.T) {
	r := facility(t)
	tests := []struct {
		what, topic, payload string
		want                 string // as told
		result               string
		reason               Reason
	}{
		{"native", "rhizostat/north/bench-07/telemetry/p1", `{"time":"2026-05-04T11:59:00Z","water_content":0.5}`, "", Refused, Retained},
		{"native of nobody", "rhizostat/north/bench-09/telemetry/p1", `{"water_content":0.5}`, "", Refused, UnknownZone},
		{"foreign with its time", "plc7/bench-07/p1/sensor", `{"ts":1777895940000,"vwc":53.2}`, "bench-07 p1 at 2026-05-04T11:59:00Z: water_content=0.532\n", Accepted, ""},
		{"foreign without", "plc7/bench-07/p1/sensor", `{"vwc":53.2}`, "", Refused, Retained},
		{"foreign with a volume", "plc7/bench-07/p1/sensor", `{"ts":1777895940000,"vwc":53.2,"valve":[{"ml":120}]}`, "bench-07 p1 at 2026-05-04T11:59:00Z: water_content=0.532\n", Partial, Retained},
		{"a volume alone", "plc7/bench-07/p1/sensor", `{"ts":1777895940000,"valve":[{"ml":120}]}`, "", Refused, Retained},
		{"a valve with its time", "plc7/bench-07/p1/sensor", `{"ts":1777895940000,"valve":[{"open":true}]}`, "bench-07 zone at 2026-05-04T11:59:00Z: valve_open=1\n", Accepted, ""},
		{"a plain number", "scale/a", "9000", "", Refused, Retained},
		{"two sites' weather", "weather/temp", "70", "", Refused, Retained},
		{"a climate with its time", "weather/air", `{"at":"2026-05-04T11:59:00Z","rh":60}`, "climate 1 at 2026-05-04T11:59:00Z: relative_humidity=60\n", Accepted, ""},
		{"garbage", "plc7/bench-07/p1/sensor", `{`, "", Refused, NotJSON},
		{"nothing", "plc7/bench-07/p1/sensor", `{}`, "", Refused, Empty},
	}
	for _, test := range tests {
		var got strings.Builder
		err := r.DecodeRetained(test.topic, []byte(test.payload), noon, func(i Item) { got.WriteString(told(r, &i)) })
		result, reason := Outcome(err)
		if got.String() != test.want || result != test.result || reason != test.reason {
			t.Errorf("%s: %s %s, %q; want %s %s, %q", test.what, result, reason, got.String(), test.result, test.reason, test.want)
		}
		var refusal *Refusal
		if err != nil && (!errors.As(err, &refusal) || !strings.Contains(err.Error(), "expected")) {
			t.Errorf("%s: %v", test.what, err)
		}
	}
}
