package service

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"rhizostat/service/demo"
	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// What the README has people type beside a running demo: look, approve one zone,
// see setpoints, withdraw, see them gone.
func TestAPersonBesideTheDemo(t *testing.T) {
	notUnderRace(t)
	t.Parallel()
	ctx, stop := context.WithCancel(t.Context())
	r := startDemo(ctx, demo.Options{Speed: 200})
	defer func() {
		stop()
		if err := <-r.ended; err != nil {
			t.Error(err)
		}
	}()
	settings := link.Settings{Broker: "tcp://" + r.said(t, brokerSaid), ClientID: "you"}
	var out bytes.Buffer
	console := Console{Link: settings, Root: "rhizostat", Zones: []string{"bench-1"}, Out: &out}
	eventually(t, 30*time.Second, func() string { return "no advice of bench-1 can be approved: " + out.String() }, func() bool {
		// one that is approved cannot be approved again: its answer is waited for
		d := Decide{Console: console, Verdict: wire.Approve, By: "you", Wait: time.Minute}
		return d.Do(t.Context()) == nil
	})
	if got := out.String(); !strings.Contains(got, "meadow/bench-1: approve accepted, advice ") {
		t.Errorf("the answer reads %q", got)
	}
	stands := func() string {
		visit, err := link.Visit(t.Context(), settings, "look")
		if err != nil {
			t.Fatal(err)
		}
		defer visit.Close()
		got, err := visit.Retained(t.Context(), "rhizostat/+/bench-1/setpoint", "rhizostat/+/bench-2/setpoint")
		if err != nil {
			t.Fatal(err)
		}
		var topics []string
		for _, m := range got {
			if len(m.Payload) > 0 {
				topics = append(topics, m.Topic)
			}
		}
		return strings.Join(topics, " ")
	}
	eventually(t, 10*time.Second, text("bench-1 was approved and has no setpoints, or another zone has"), func() bool {
		return stands() == "rhizostat/meadow/bench-1/setpoint"
	})
	out.Reset()
	if err := console.List(t.Context(), true, true); err != nil || !strings.Contains(out.String(), "(approved)") || !strings.Contains(out.String(), "  why: ") {
		t.Errorf("the list: %v\n%s", err, out.String())
	}
	d := Decide{Console: console, Verdict: wire.Withdraw, By: "you", Wait: time.Minute}
	if err := d.Do(t.Context()); err != nil {
		t.Fatal(err)
	}
	eventually(t, 10*time.Second, text("withdrawn, and setpoints stand"), func() bool { return stands() == "" })
}
