package service

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/service/report"
	"rhizostat/service/wire"
)

// someDays are the lines of a recording: days of a zone that drinks by day and is
// watered four times, one of whose probes hangs on the second day and both of which
// fall silent on the third.
func someDays(days int) (lines []string) {
	say := func(at time.Time, source, payload string) {
		payload = fmt.Sprintf(`{"time":%q,%s}`, at.Format(time.RFC3339), payload)
		lines = append(lines, fmt.Sprintf(`{"tst":%q,"topic":"rhizostat/north/bench-0/telemetry/%s","payload":%q}`, at.Format(time.RFC3339), source, payload))
	}
	content, hung := 0.55, 0.0
	for i := range days * 288 {
		at := morning.Add(time.Duration(i) * 5 * time.Minute)
		if hour := at.Hour(); hour >= 6 && hour < 20 {
			content -= 0.09 / 168
		}
		if at.Minute() == 0 && slices.Contains([]int{8, 10, 12, 15}, at.Hour()) {
			content += 0.021
			say(at, "zone", `"irrigation_volume":200`)
			say(at.Add(4*time.Minute), "zone", `"drain_volume":12.4`)
		}
		since := time.Duration(i) * 5 * time.Minute
		if since > 50*time.Hour && since < 60*time.Hour {
			continue
		}
		noise := 0.0004 * math.Sin(float64(i)*1.7)
		second := content + 0.01 + 0.0004*math.Cos(float64(i)*2.3)
		if since > 26*time.Hour {
			if hung == 0 {
				hung = second
			}
			second = hung
		}
		say(at.Add(7*time.Second), "p1", fmt.Sprintf(`"water_content":%.4f`, content+noise))
		say(at.Add(9*time.Second), "p2", fmt.Sprintf(`"water_content":%.4f`, second))
	}
	slices.Sort(lines) // by their time, which they begin with
	return lines
}

// approvedAt puts a decision into a recording: somebody approves the first advice
// that comes of it.
func approvedAt(t *testing.T, lines []string, s Settings, after time.Duration) []string {
	t.Helper()
	var out bytes.Buffer
	if err := Replay(t.Context(), s, strings.NewReader(strings.Join(lines, "\n")), &out, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	for line := range bytes.Lines(out.Bytes()) {
		rec, err := parseRecorded(bytes.TrimSpace(line))
		if err != nil {
			t.Fatal(err)
		}
		if p, ok := wire.Parse("rhizostat", rec.Topic); !ok || p.Kind != wire.KindAdvice {
			continue
		}
		a, err := wire.ParseAdvice(rec.Payload)
		if err != nil {
			t.Fatal(err)
		}
		if a.Action == advice.Inspect || a.IssuedAt.Before(morning.Add(after)) {
			continue
		}
		d := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: wire.Approve, By: "ana"}
		payload, err := d.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		at := a.IssuedAt.Add(10 * time.Minute).Format(time.RFC3339)
		decision := fmt.Sprintf(`{"tst":%q,"topic":"rhizostat/north/bench-0/decision","payload":%q}`, at, payload)
		i := slices.IndexFunc(lines, func(line string) bool { return line[len(`{"tst":"`):][:len(at)] > at })
		return slices.Insert(slices.Clone(lines), i, decision)
	}
	t.Fatal("no advice came of the recording")
	return nil
}

// A report says the same of the same days, out of the recording and out of the
// ledger that a daemon kept of them.
func TestReportsOfBothSources(t *testing.T) {
	s := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, siteOf("north", 1)), StateEvery: time.Minute, Clock: "telemetry"}
	lines := approvedAt(t, someDays(3), s, 10*time.Hour)
	recording := strings.Join(lines, "\n")
	kept := s
	kept.Ledger = filepath.Join(t.TempDir(), "ledger.db")
	if err := Replay(t.Context(), kept, strings.NewReader(recording), io.Discard, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	days := func(o HistoryOptions) *report.Days {
		d, err := History(t.Context(), o, slog.New(slog.DiscardHandler))
		if err != nil {
			t.Fatal(err)
		}
		d.Score()
		return d
	}
	played := days(HistoryOptions{Settings: s, Recording: strings.NewReader(recording)})
	read := days(HistoryOptions{Settings: kept})

	sameWater(t, played.Water, read.Water)
	sameProbes(t, played.Probes, read.Probes)
	sameForecasts(t, played.Forecasts, read.Forecasts)
	if !slices.Equal(played.Marks, sorted(read.Marks)) {
		t.Errorf("marks of the ledger: %+v\nof the recording: %+v", read.Marks, played.Marks)
	}
	for _, kind := range []report.MarkKind{report.Issued, report.Approved, report.Inspect} {
		if !slices.ContainsFunc(read.Marks, func(m report.Mark) bool { return m.Kind == kind && (m.Text != "" || kind == report.Issued) }) {
			t.Errorf("no mark %s: %+v", kind, read.Marks)
		}
	}
	a, b := played.Daily(), read.Daily()
	if len(a) != len(b) {
		t.Fatalf("%d days of the ledger, %d of the recording", len(b), len(a))
	}
	for i := range a {
		for name, pair := range map[string][2]float64{
			"in band": {a[i].InBand, b[i].InBand}, "peak": {a[i].Peak, b[i].Peak}, "trough": {a[i].Trough, b[i].Trough}, "dryback": {a[i].OvernightDryback, b[i].OvernightDryback},
			"water, L": {a[i].IrrigationML / 1000, b[i].IrrigationML / 1000}, "drain, L": {a[i].DrainML / 1000, b[i].DrainML / 1000},
			"forecast error": {a[i].ForecastError, b[i].ForecastError}, "coverage": {a[i].Coverage, b[i].Coverage},
		} {
			if math.Abs(pair[0]-pair[1]) > 0.0021 || math.IsNaN(pair[0]) != math.IsNaN(pair[1]) { // 2 mL, and what 0.0001 m3/m3 at an edge comes to
				t.Errorf("day %d: %s is %g in the ledger, %g in the recording", i, name, pair[1], pair[0])
			}
		}
		if a[i].Shots != b[i].Shots {
			t.Errorf("day %d: %d shots in the ledger, %d in the recording", i, b[i].Shots, a[i].Shots)
		}
	}
}

func sorted(marks []report.Mark) []report.Mark {
	slices.SortStableFunc(marks, func(a, b report.Mark) int { return a.At.Compare(b.At) })
	return marks
}

// wetness is by how much a water content may differ: the daemon looks at a silent zone
// every minute and a report every five, and both round.
const wetness = 0.0003 // m3/m3

func sameWater(t *testing.T, played, read []report.Water) {
	t.Helper()
	at := map[time.Time]report.Water{}
	for _, w := range played {
		at[w.At.UTC()] = w
	}
	same := 0
	for _, w := range read {
		want, ok := at[w.At.UTC()]
		if !ok {
			continue
		}
		same++
		if math.Abs(w.Mean-want.Mean) > wetness || math.Abs(w.Low-want.Low) > 2*wetness || math.Abs(w.High-want.High) > 2*wetness || !(w.High > w.Low) {
			t.Fatalf("water %+v, want %+v", w, want)
		}
	}
	if same < len(played)-2 || len(read) > len(played)+2 {
		t.Errorf("%d moments of the ledger, %d of the recording, %d the same", len(read), len(played), same)
	}
}

func sameProbes(t *testing.T, played, read []report.Trace) {
	t.Helper()
	if len(played) != 2 || len(read) != 2 {
		t.Fatalf("%d probes of the ledger, %d of the recording, want 2", len(read), len(played))
	}
	for i := range played {
		a, b := played[i], read[i]
		if a.ID != b.ID || len(a.Readings) < 600 || math.Abs(float64(len(a.Readings)-len(b.Readings))) > 2 {
			t.Errorf("probe %s: %d readings of the ledger, %d of the recording", b.ID, len(b.Readings), len(a.Readings))
		}
		at := map[int64]float64{}
		for _, r := range a.Readings {
			at[r.At.Unix()] = r.Value
		}
		for _, r := range b.Readings[1:] {
			if want, ok := at[r.At.Unix()]; !ok || math.Abs(want-r.Value) > 0.00006 {
				t.Fatalf("probe %s read %g at %s, in the recording %g (%v)", b.ID, r.Value, r.At, want, ok)
			}
		}
		same := slices.EqualFunc(a.Ill, b.Ill, func(x, y report.Illness) bool { return x.From.Equal(y.From) && x.Health == y.Health })
		if !same || len(b.Ill) == 0 {
			t.Errorf("probe %s was ill %v, in the recording %v", b.ID, b.Ill, a.Ill)
		}
	}
}

func sameForecasts(t *testing.T, played, read []report.Course) {
	t.Helper()
	if len(played) != len(read) || len(read) < 3 {
		t.Fatalf("%d forecasts of the ledger, %d of the recording", len(read), len(played))
	}
	for i := range played {
		a, b := played[i], read[i]
		if !a.IssuedAt.Equal(b.IssuedAt) || a.Step != b.Step || a.Usual != b.Usual || len(a.WaterContent) != 97 || len(b.WaterContent) != 97 {
			t.Errorf("forecast %d: of %s in %s, usual %v, %d values; want %s, %s, %v, %d", i, b.IssuedAt, b.Step, b.Usual, len(b.WaterContent), a.IssuedAt, a.Step, a.Usual, len(a.WaterContent))
			continue
		}
		for k := range a.WaterContent {
			if math.Abs(a.WaterContent[k]-b.WaterContent[k]) > wetness || math.Abs(a.Low[k]-b.Low[k]) > 2*wetness || math.Abs(a.High[k]-b.High[k]) > 2*wetness {
				t.Fatalf("forecast %d, value %d: %g (%g to %g), want %g (%g to %g)", i, k, b.WaterContent[k], b.Low[k], b.High[k], a.WaterContent[k], a.Low[k], a.High[k])
			}
		}
	}
}
