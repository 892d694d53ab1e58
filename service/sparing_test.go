package service

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A flood of events that cannot be read is counted and acknowledged one by one and
// told in a few lines; another reason has its own, and the next line says how many
// were left out.
func TestAFloodOfGarbageDoesNotFillTheLog(t *testing.T) {
	const flood = 1000
	s := newStill(t)
	var log bytes.Buffer
	s.log = slog.New(slog.NewTextHandler(&log, nil))
	acknowledged := 0
	for range flood {
		s.person(s.topics[0].Event(bench(0)), []byte("x"), morning, func() { acknowledged++ })
		s.lots[0].flush()
	}
	if got := strings.Count(log.String(), "event refused"); got != toldAtMost {
		t.Errorf("%d lines for %d events, want %d", got, flood, toldAtMost)
	}
	if got := s.counted(t, `rhizostat_intake_messages_total{reason="malformed",result="refused"}`); got != flood || acknowledged != flood {
		t.Errorf("%g counted and %d acknowledged, want %d", got, acknowledged, flood)
	}
}

func TestSparing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		log := slog.New(slog.NewTextHandler(&out, nil))
		var s sparing
		lines := func(reason string, n int) int {
			out.Reset()
			for range n {
				s.warn(log, reason, "event refused")
			}
			return strings.Count(out.String(), "\n")
		}
		for _, c := range []struct {
			after  time.Duration
			reason string
			n      int
			want   int
			said   string
		}{
			{0, "malformed", 3, 3, ""},
			{time.Second, "malformed", 100, toldAtMost - 3, ""},
			{0, "unknown-zone", 2, 2, "reason=unknown-zone"},
			{30 * time.Second, "malformed", 5, 0, ""},
			{30 * time.Second, "malformed", 1, 1, "left_out=98"},
			{time.Hour, "malformed", 1, 1, ""},
		} {
			time.Sleep(c.after)
			if got := lines(c.reason, c.n); got != c.want || !strings.Contains(out.String(), c.said) || c.said == "" && strings.Contains(out.String(), "left_out") {
				t.Errorf("after %s, %d times %s: %d lines, want %d with %q: %s", c.after, c.n, c.reason, got, c.want, c.said, out.String())
			}
		}
	})
}
