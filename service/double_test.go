package service

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"strconv"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// An event that comes again counts once, in the same lot, in a later one and after a
// restart; what only looks alike counts.
func TestAnEventThatComesAgainCountsOnce(t *testing.T) {
	const watered = `{"time":"2026-05-04T07:40:00Z","kind":"watered-by-hand","by":"ann","volume_ml":500}`
	const untimed = `{"kind":"watered-by-hand","by":"ann","volume_ml":500}`
	for _, c := range []struct {
		name  string
		first string
		again string
		want  int
	}{
		{"the same", watered, watered, 1},
		{"the same, written otherwise", watered, `{"by":"ann","kind":"watered-by-hand", "volume_ml":500,"time":1777880400}`, 1},
		{"another volume", watered, `{"time":"2026-05-04T07:40:00Z","kind":"watered-by-hand","by":"ann","volume_ml":400}`, 2},
		{"another time", watered, `{"time":"2026-05-04T07:41:00Z","kind":"watered-by-hand","by":"ann","volume_ml":500}`, 2},
		{"no time", untimed, untimed, 2},
	} {
		for _, between := range []string{"nothing", "a flush", "a restart"} {
			t.Run(c.name+", between them "+between, func(t *testing.T) {
				s := newStill(t)
				s.tell(0, 40*time.Minute)
				acknowledged := 0
				say := func(payload string) {
					s.person(s.topics[0].Event(bench(0)), []byte(payload), morning.Add(40*time.Minute), func() { acknowledged++ })
				}
				say(c.first)
				switch between {
				case "a flush":
					s.lots[0].flush()
				case "a restart":
					s.lots[0].flush()
					s.restart(t)
				}
				say(c.again)
				s.lots[0].flush()
				events, err := s.ledger.Events(t.Context(), "north", bench(0), time.Time{}, farFuture)
				if err != nil || len(events) != c.want || acknowledged != 2 {
					t.Errorf("%d events on record, want %d; %d acknowledged, want both (%v)", len(events), c.want, acknowledged, err)
				}
				s.tell(45*time.Minute, 50*time.Minute)
				payload, _ := s.lastOf(s.topics[0].State(bench(0)))
				state, err := wire.ParseState(payload)
				if err != nil {
					t.Fatal(err)
				}
				given := 0
				for i := range events {
					if events[i].Kind == policy.WateredByHand {
						given += int(*events[i].VolumeML)
					}
				}
				if got := *state.IrrigationML24h; got != int64(given) {
					t.Errorf("the engine has %d mL, on record are %d mL", got, given)
				}
			})
		}
	}
}

// restart makes the house anew out of what is on record, as after a kill.
func (s *still) restart(t *testing.T) {
	t.Helper()
	h, err := newHouse(t.Context(), s.settings, s.sites, s.ledger, newMetrics("test"), 1, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	h.publish, h.telemetry, h.control = s.house.publish,
		func(_ int, r shard.Telemetry) { h.lots[0].shard.Telemetry(0, r) },
		func(_ int, c shard.Control) { h.lots[0].shard.Control(0, c) }
	s.house = h
}

// A double is counted, as one of telemetry is.
func TestADoubleEventIsCounted(t *testing.T) {
	s := newStill(t)
	s.tell(0, 40*time.Minute)
	for range 3 {
		s.person(s.topics[0].Event(bench(0)), fmt.Appendf(nil, `{"time":%q,"kind":"crop-ended","by":"ann"}`, morning.Format(time.RFC3339)), morning, nil)
	}
	if got := s.counted(t, `rhizostat_intake_messages_total{reason="doubled",result="partial"}`); got != 2 {
		t.Errorf("%g doubles counted, want 2", got)
	}
}

// counted gives the value of a series.
func (s *still) counted(t *testing.T, series string) float64 {
	t.Helper()
	var out bytes.Buffer
	if err := s.metrics.Expose(&out); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(out.String()) {
		if rest, ok := strings.CutPrefix(line, series+" "); ok {
			v, err := strconv.ParseFloat(strings.TrimSpace(rest), 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
	}
	t.Fatalf("no series %s", series)
	return 0
}
