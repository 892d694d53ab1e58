package service

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// What a broker kept and gave to the recorder is in a replay what it is to the daemon:
// nobody's decision, nothing that happened, and no reading of now.
func TestReplayOfRetainedMessages(t *testing.T) {
	s := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, siteOf("north", 1)), StateEvery: time.Minute, Clock: "telemetry"}
	lines := approvedAt(t, someDays(1), s, 0)
	play := func(lines []string) (results, setpoints int, log string) {
		var out, said bytes.Buffer
		if err := Replay(t.Context(), s, strings.NewReader(strings.Join(lines, "\n")), &out, slog.New(slog.NewTextHandler(&said, nil))); err != nil {
			t.Fatal(err)
		}
		for line := range bytes.Lines(out.Bytes()) {
			rec, err := parseRecorded(bytes.TrimSpace(line))
			if err != nil {
				t.Fatal(err)
			}
			switch p, _ := wire.Parse("rhizostat", rec.Topic); {
			case p.Kind == wire.KindDecisionResult:
				results++
			case strings.HasSuffix(rec.Topic, "/setpoint") && len(rec.Payload) > 0:
				setpoints++
			}
		}
		return results, setpoints, said.String()
	}
	if results, setpoints, log := play(lines); results != 1 || setpoints != 1 || log != "" {
		t.Fatalf("%d answers, %d setpoints, said %q; want one of each and no word", results, setpoints, log)
	}
	for _, flag := range []string{"1", "true"} {
		var kept []string
		for _, line := range lines {
			if strings.Contains(line, "/decision") {
				line = strings.Replace(line, `"topic"`, `"retain":`+flag+`,"topic"`, 1)
			}
			kept = append(kept, line)
		}
		results, setpoints, log := play(kept)
		if results != 0 || setpoints != 0 || !strings.Contains(log, "reason=retained line=") || strings.Count(log, "\n") != 2 {
			t.Errorf("retain %s: %d answers, %d setpoints, said %q; want none of either, the line and the count", flag, results, setpoints, log)
		}
	}
	var stale []string
	for _, line := range lines {
		stale = append(stale, strings.Replace(line, `"topic"`, `"retain":1,"topic"`, 1))
	}
	var out bytes.Buffer
	if err := Replay(t.Context(), s, strings.NewReader(strings.Join(stale, "\n")), &out, slog.New(slog.DiscardHandler)); err != nil || strings.Contains(out.String(), "/state") {
		t.Errorf("a state came of retained readings (%v)", err)
	}
}

// A file of other lines is told of in a few: the first of each reason, and how many.
func TestReplayOfOtherLines(t *testing.T) {
	s := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, siteOf("north", 1)), StateEvery: time.Minute, Clock: "telemetry"}
	var in strings.Builder
	for i := range 500 {
		fmt.Fprintf(&in, "line %d of a log\n", i)
		fmt.Fprintln(&in, `{"tst":"today","topic":"rhizostat/north/bench-0/telemetry/p1","payload":"{}"}`)
		fmt.Fprintln(&in, `{"topic":"rhizostat/north/bench-0/telemetry/p1","payloadlen":9,"payload":"{"}`)
		fmt.Fprintln(&in, `{"topic":"rhizostat/north/bench-0/telemetry/p1","retain":"often","payload":"{}"}`)
		fmt.Fprintln(&in, `{"payload":"{}"}`)
		fmt.Fprintln(&in, `{"topic":"rhizostat/north/bench-9/decision","payload":"{}"}`)
	}
	var said bytes.Buffer
	if err := Replay(t.Context(), s, strings.NewReader(in.String()), io.Discard, slog.New(slog.NewTextHandler(&said, nil))); err != nil {
		t.Fatal(err)
	}
	for i, reason := range []lineReason{notAMessage, noTime, cutPayload, badRetain, noTopic, unknownZone} {
		first := fmt.Sprintf("reason=%s line=%d ", reason, i+1)
		count := fmt.Sprintf("reason=%s lines=500 first=%d last=%d", reason, i+1, 6*499+i+1)
		if strings.Count(said.String(), first) != 1 || strings.Count(said.String(), count) != 1 {
			t.Errorf("%s: want %q and %q once each in\n%s", reason, first, count, said.String())
		}
	}
	if n := strings.Count(said.String(), "\n"); n != 12 {
		t.Errorf("%d lines were said, want 12:\n%s", n, said.String())
	}
}
