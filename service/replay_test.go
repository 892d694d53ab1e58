package service

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// slabRows turns rows of the open data set (CC0; its README beside it names the
// authors and columns) into the lines that a recorder would have written, for
// the first days of zone a. Nothing of the data is kept in the repository.
func slabRows(t *testing.T, days int) []string {
	t.Helper()
	file, err := os.Open("../../shared/data/slab-a.csv.gz")
	if errors.Is(err, fs.ErrNotExist) {
		t.Skip("the open data set is not beside the checkout (../shared/data); this test needs it")
	}
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	unzipped, err := gzip.NewReader(file)
	if err != nil {
		t.Fatal(err)
	}
	rows := csv.NewReader(unzipped)
	header, err := rows.Read()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range header {
		column[name] = i
	}
	var lines []string
	for range days * 288 {
		row, err := rows.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		cell := func(name string) string { return row[column[name]] }
		at := cell("time")
		say := func(zone, source string, pairs ...string) {
			var b strings.Builder
			fmt.Fprintf(&b, `{"time":%q`, at)
			some := false
			for i := 0; i < len(pairs); i += 2 {
				if pairs[i+1] != "" {
					some = true
					fmt.Fprintf(&b, `,%q:%s`, pairs[i], pairs[i+1])
				}
			}
			b.WriteByte('}')
			if some {
				lines = append(lines, fmt.Sprintf(`{"topic":"rhizostat/glasshouse/%s/telemetry/%s","qos":1,"retain":0,"payloadlen":%d,"payload":%q}`,
					zone, source, b.Len(), b.String()))
			}
		}
		for _, p := range []string{"1", "2"} {
			say("slab-a", "p"+p, "water_content", cell("water_content_p"+p), "pore_ec", cell("pore_ec_p"+p+"_ms_cm"),
				"substrate_temperature", cell("substrate_temperature_p"+p+"_c"))
		}
		say("inside", "climate", "air_temperature", cell("air_temperature_c"), "relative_humidity", cell("relative_humidity_pct"), "ppfd", cell("ppfd_umol_m2_s"))
		volume := ""
		if l, err := strconv.ParseFloat(cell("irrigation_l_m2"), 64); err == nil && l > 0 {
			volume = fmt.Sprintf("%.1f", l*1000/1.4) // 1.4 plants/m2
		}
		say("slab-a", "zone", "irrigation_volume", volume, "drain_ec", cell("drain_ec_ms_cm"))
	}
	return lines
}

func replayLines(t *testing.T, lines []string, ledger string) []byte {
	t.Helper()
	var out bytes.Buffer
	s := Settings{TopicRoot: "rhizostat", Sites: "../testdata/recordings/slab.yaml", Ledger: ledger, StateEvery: 5 * time.Minute, Clock: "telemetry"}
	in := strings.NewReader(strings.Join(lines, "\n") + "\n")
	if err := Replay(t.Context(), s, in, &out, slog.New(slog.NewTextHandler(io.Discard, nil))); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// A real recording goes the whole way: states follow it, advice comes of it.
func TestReplayOfRealReadings(t *testing.T) {
	days := 40
	if underRace { // the detector makes minutes of them, and the other run plays them all
		days = 10
	}
	lines := slabRows(t, days)
	out := replayLines(t, lines, "")
	counts := map[wire.Kind]int{}
	var last *wire.State
	for _, line := range bytes.Split(bytes.TrimSpace(out), []byte("\n")) {
		rec, err := parseRecorded(line)
		if err != nil {
			t.Fatalf("%v in %s", err, line)
		}
		p, ok := wire.Parse("rhizostat", rec.Topic)
		if !ok {
			t.Fatalf("topic %s", rec.Topic)
		}
		counts[p.Kind]++
		switch p.Kind {
		case wire.KindState:
			if last, err = wire.ParseState(rec.Payload); err != nil {
				t.Fatal(err)
			}
		case wire.KindSetpoint:
			t.Errorf("a setpoint without an approval: %s", rec.Payload)
		}
	}
	t.Logf("%d lines in, out: %v", len(lines), counts)
	if last == nil || last.WaterContent == nil || *last.WaterContent < 0.5 || *last.WaterContent > 0.97 {
		t.Fatalf("last state %+v", last)
	}
	if counts[wire.KindAdvice] < days/2 {
		t.Errorf("%d advice messages in %d days", counts[wire.KindAdvice], days)
	}
	t.Logf("24 h to %s: irrigation %d mL, drain %d mL, uptake %d mL, overnight dryback %.3f, stability %.2f", last.Time.Format(time.RFC3339),
		*last.IrrigationML24h, *last.DrainML24h, *last.UptakeML24h, last.Dryback.OvernightDepth, last.Stability.Index)
}

// The same recording gives the same output byte for byte: twice, and once more
// in two processes that share a ledger.
func TestReplayIsTheSameEachTime(t *testing.T) {
	lines := withDecisions(t, slabRows(t, 5))
	dir := t.TempDir()
	whole := replayLines(t, lines, filepath.Join(dir, "whole.db"))
	if len(whole) == 0 {
		t.Fatal("no output")
	}
	if again := replayLines(t, lines, filepath.Join(dir, "again.db")); !bytes.Equal(whole, again) {
		t.Error("twice the same recording, two outputs")
	}
	half := len(lines)/2 + 1 // in the middle of an instant
	parts := replayLines(t, lines[:half], filepath.Join(dir, "parts.db"))
	parts = append(parts, replayLines(t, lines[half:], filepath.Join(dir, "parts.db"))...)
	if !bytes.Equal(whole, parts) {
		a, b := bytes.Split(whole, []byte("\n")), bytes.Split(parts, []byte("\n"))
		for i := range min(len(a), len(b)) {
			if !bytes.Equal(a[i], b[i]) {
				t.Fatalf("line %d of %d and %d differs:\n%.600s\n%.600s", i, len(a), len(b), a[i], b[i])
			}
		}
		t.Errorf("%d lines and %d lines", len(a), len(b))
	}
	t.Logf("%d lines in, %d bytes out", len(lines), len(whole))
}

// withDecisions plays a recording in lockstep over a pipe: after each instant it
// waits for its barrier to come back, and approves what it was shown. It gives
// the recording with the decisions in it.
func withDecisions(t *testing.T, lines []string) []string {
	t.Helper()
	in, feed := io.Pipe()
	answers, out := io.Pipe()
	done := make(chan error, 1)
	s := Settings{TopicRoot: "rhizostat", Sites: "../testdata/recordings/slab.yaml", StateEvery: 5 * time.Minute}
	go func() {
		err := Replay(t.Context(), s, in, out, slog.New(slog.NewTextHandler(io.Discard, nil)))
		out.CloseWithError(err)
		done <- err
	}()
	printed := make(chan []byte, 1<<16) // read all along: a pipe holds little
	go func() {
		defer close(printed)
		for reader := bufio.NewReaderSize(answers, 1<<20); ; {
			line, err := reader.ReadBytes('\n')
			if err != nil {
				return // the end
			}
			printed <- line
		}
	}()
	var recording []string
	approved, setpoints := map[string]bool{}, 0
	for i, line := range lines {
		recording = append(recording, line)
		if _, err := fmt.Fprintln(feed, line); err != nil {
			t.Fatal(err)
		}
		if i%30 != 29 {
			continue
		}
		mark := fmt.Sprintf(`{"topic":"$replay/%d","payload":"%d"}`, i, i)
		if _, err := fmt.Fprintln(feed, mark); err != nil {
			t.Fatal(err)
		}
		var decisions [][]byte // sent once the barrier is back
		for {
			answer, more := <-printed
			if !more {
				t.Fatal("the output ended before its barrier")
			}
			if string(bytes.TrimSpace(answer)) == mark {
				break
			}
			rec, err := parseRecorded(answer)
			if err != nil {
				t.Fatal(err)
			}
			place, _ := wire.Parse("rhizostat", rec.Topic)
			switch place.Kind {
			case wire.KindAdvice:
				a, err := wire.ParseAdvice(rec.Payload)
				if err != nil {
					t.Fatal(err)
				}
				if a.Approval.State != "pending" || approved[a.ID] {
					continue
				}
				approved[a.ID] = true
				decision := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: wire.Approve, By: "test"}
				body, err := decision.Marshal()
				if err != nil {
					t.Fatal(err)
				}
				said, err := appendRecorded(nil, rec.Stamp, "rhizostat/glasshouse/slab-a/decision", body, 1, false)
				if err != nil {
					t.Fatal(err)
				}
				decisions = append(decisions, said)
			case wire.KindSetpoint:
				if place.Name != "" || len(rec.Payload) == 0 {
					continue
				}
				sp, err := wire.ParseSetpoint(rec.Payload)
				if err != nil {
					t.Fatal(err)
				}
				setpoints++
				if !approved[sp.Advice] {
					t.Errorf("setpoint of %s, which nobody approved", sp.Advice)
				}
			}
		}
		for _, said := range decisions {
			recording = append(recording, strings.TrimSpace(string(said)))
			if _, err := feed.Write(said); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := feed.Close(); err != nil {
		t.Fatal(err)
	}
	for range printed { // what the end still brings
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if len(approved) == 0 || setpoints == 0 {
		t.Fatalf("%d approved, %d setpoints; expected some of each", len(approved), setpoints)
	}
	t.Logf("%d advice approved, %d setpoints seen", len(approved), setpoints)
	return recording
}

// Whoever keeps step with a replay waits for its line: it comes back as it was
// written, whatever stands in it beside its topic, and other lines of that kind
// are skipped.
func TestEveryBarrierComesBack(t *testing.T) {
	site := writeSite(t, siteOf("north", 1))
	back := []string{
		`{"topic":"$replay/1"}`,
		`{"tst":"yesterday","topic":"$replay/2","qos":0,"retain":0,"payloadlen":1,"payload":"2"}`,
		`{"tst":5, "topic":"$replay/3"}`,
		`{"topic":"$replay/4","payloadlen":9,"payload":"4"}`,
		`{"topic":"$replay/5","payload":"5","payload":"5"}`,
		`{"topic":"$replay/6","payload":`,
	}
	skipped := []string{`{"tst":"yesterday","topic":"rhizostat/north/bench-0/telemetry/p1","payload":"{}"}`, `{"payload":{"topic":"$replay/7"}}`, `["topic","$replay/8"]`, `"$replay/9"`}
	var in strings.Builder
	for i, line := range back {
		fmt.Fprintf(&in, "%s\n%s\n", skipped[i%len(skipped)], line)
	}
	var out bytes.Buffer
	settings := Settings{TopicRoot: "rhizostat", Sites: site, StateEvery: time.Minute}
	if err := Replay(t.Context(), settings, strings.NewReader(in.String()), &out, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	if want := strings.Join(back, "\n") + "\n"; out.String() != want {
		t.Errorf("came back:\n%s\nwant:\n%s", out.String(), want)
	}
}

// A replay that is interrupted says so, with what it had worked out, also while it
// waits for its next line.
func TestReplayInterrupted(t *testing.T) {
	site := writeSite(t, siteOf("north", 1))
	in, feed, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer feed.Close()
	start := time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)
	told := 0
	for minute := range 30 { // as much as a pipe holds, before anybody reads
		at := start.Add(time.Duration(minute) * time.Minute).Format(time.RFC3339)
		n, err := fmt.Fprintf(feed, "{\"tst\":%q,\"topic\":\"rhizostat/north/bench-0/telemetry/p1\",\"payload\":\"{\\\"water_content\\\":0.5}\"}\n", at)
		if err != nil {
			t.Fatal(err)
		}
		told += n
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out bytes.Buffer
	done := make(chan error, 1)
	more := &asked{File: in, left: told, once: make(chan struct{})}
	go func() {
		done <- Replay(ctx, Settings{TopicRoot: "rhizostat", Sites: site, StateEvery: time.Minute}, more, &out, slog.New(slog.DiscardHandler))
	}()
	select {
	case <-more.once: // it waits for the next line
	case err := <-done:
		t.Fatalf("it ended before it was interrupted: %v", err)
	case <-time.After(patience * 10 * time.Second):
		t.Fatal("it has not asked for the next line")
	}
	stop()
	select {
	case err = <-done:
	case <-time.After(patience * 10 * time.Second):
		t.Fatal("it still waits for a line long after it was interrupted")
	}
	if err == nil || errors.Is(err, context.Canceled) || !strings.Contains(err.Error(), "interrupted after line") {
		t.Errorf("error %v; expected one that says where it was interrupted", err)
	}
	if n := strings.Count(out.String(), "/state"); n == 0 || !strings.HasSuffix(out.String(), "\n") {
		t.Errorf("%d states came out, whole lines: %v", n, strings.HasSuffix(out.String(), "\n"))
	}
}

// asked is a pipe that tells when somebody wants more than was written to it.
type asked struct {
	*os.File
	left int // bytes
	once chan struct{}
}

func (a *asked) Read(p []byte) (int, error) {
	if a.left == 0 {
		close(a.once)
	}
	n, err := a.File.Read(p)
	a.left -= n
	return n, err
}
