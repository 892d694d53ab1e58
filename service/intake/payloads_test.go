package intake

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/cockroachdb/datadriven"

	"rhizostat/policy/sensing"
)

// TestPayloads plays the messages of testdata/payloads on the facility of
// topics_test.go. They arrive at 2026-05-04T12:00:00Z.
func TestPayloads(t *testing.T) {
	r := facility(t)
	datadriven.Walk(t, "../../testdata/payloads", func(t *testing.T, path string) {
		datadriven.RunTest(t, path, func(t *testing.T, d *datadriven.TestData) string {
			if d.Cmd != "message" {
				d.Fatalf(t, "command %q; expected message", d.Cmd)
			}
			var topic string
			d.ScanArgs(t, "on", &topic)
			return played(r, topic, d.Input)
		})
	})
}

// played tells what became of a message.
func played(r *Router, topic, payload string) string {
	var b strings.Builder
	items, err := decode(r, topic, payload)
	for _, i := range items {
		b.WriteString(told(r, &i))
	}
	var refusal *Refusal
	switch {
	case err == nil:
		b.WriteString("accepted\n")
	case errors.As(err, &refusal):
		result, reason := Outcome(err)
		fmt.Fprintf(&b, "%s %s\n%v\n", result, reason, refusal)
	}
	return b.String()
}

// told writes an item for people.
func told(r *Router, i *Item) string {
	var b strings.Builder
	switch {
	case i.ClimateIndex >= 0:
		fmt.Fprintf(&b, "climate %d", i.ClimateIndex)
	case i.Source == ZoneWide:
		fmt.Fprintf(&b, "%s zone", r.zones[i.ZoneIndex].Zone)
	default:
		fmt.Fprintf(&b, "%s %s", r.zones[i.ZoneIndex].Zone, r.zones[i.ZoneIndex].Probes[i.Source])
	}
	whose := "arrived"
	if i.HasTime {
		whose = "at"
	}
	fmt.Fprintf(&b, " %s %s:", whose, i.At.Format("2006-01-02T15:04:05.999Z07:00"))
	for s := range sensing.SignalCount {
		if v, ok := i.Values.Get(sensing.Signal(s)); ok {
			fmt.Fprintf(&b, " %s=%.6g", sensing.Signal(s), v)
		}
	}
	return b.String() + "\n"
}
