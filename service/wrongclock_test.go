package service

import (
	"io"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"rhizostat/policy"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// A machine whose clock was three days ahead is started again with the right time:
// its zones do not wait three days, and advise again.
func TestAMachineWhoseClockWasWrong(t *testing.T) {
	site := writeSite(t, siteOf("north", 1))
	synctest.Test(t, func(t *testing.T) {
		log := slog.New(slog.NewTextHandler(io.Discard, nil))
		settings := Settings{TopicRoot: "rhizostat", Sites: site, Clock: "wall", StateEvery: time.Minute}
		sites, l := opened(t, settings, log)
		topics := wire.Topics{Root: "rhizostat", Site: "north"}
		states := 0
		var advice *wire.Advice
		live := func(d, off time.Duration) {
			h, err := newHouse(t.Context(), settings, sites, l, newMetrics("test"), 1, log)
			if err != nil {
				t.Fatal(err)
			}
			states, advice = 0, nil
			h.publish = func(_ int, m wire.Message, _ time.Time) {
				switch m.Topic {
				case topics.State(bench(0)):
					states++
				case topics.Advice(bench(0)):
					if advice, err = wire.ParseAdvice(m.Payload); err != nil {
						t.Error(err)
					}
				}
			}
			h.telemetry = func(_ int, r shard.Telemetry) { h.lots[0].shard.Telemetry(0, r) }
			for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(time.Second) {
				said := time.Now().UTC().Add(off)
				if said.Unix()%300 == 0 {
					for _, p := range []string{"p1", "p2"} {
						h.receive(topics.Telemetry(bench(0), p), []byte(`{"water_content":0.552,"bulk_ec":1.1}`), said)
					}
				}
				h.lots[0].shard.Tick(said)
				h.lots[0].flush()
			}
			if err := h.close(); err != nil {
				t.Error(err)
			}
		}
		live(2*time.Hour, 72*time.Hour)
		if advice == nil {
			t.Fatal("no advice before the clock is put right: this test shows nothing")
		}
		early := advice.ID
		live(2*time.Hour, 0)
		if states < 100 {
			t.Errorf("%d states in the two hours after, want at least 100", states)
		}
		if advice == nil || advice.ID == early || advice.Approval.State != policy.StatePending || advice.IssuedAt.After(time.Now()) {
			t.Errorf("the advice after is %+v", advice)
		}
	})
}
