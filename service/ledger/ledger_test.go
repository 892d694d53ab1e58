package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

var noon = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

func open(t testing.TB, path string) *Ledger {
	t.Helper()
	l, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	})
	return l
}

// issued is an irrigate advice of a zone as the desk records it.
func issued(t testing.TB, zone string, n int) wire.AdviceRecord {
	t.Helper()
	a, err := wire.FromAdvice(&advice.Advice{
		ID: fmt.Sprintf("%s-%06d", zone, n), Site: "north", Zone: zone,
		IssuedAt: noon.Add(time.Duration(n) * time.Hour), ValidFrom: noon, ValidUntil: noon.Add(24 * time.Hour), DecideBy: noon.Add(time.Hour),
		Action: advice.Irrigate,
		Setpoints: &advice.Setpoints{
			FirstShotAt: noon.Add(time.Hour), LastShotBy: noon.Add(9 * time.Hour), TriggerWaterContent: 0.52, TargetWaterContent: 0.6,
			TriggerByProbe: []advice.ProbeTrigger{{Probe: "p1", WaterContent: 0.55}}, ShotVolumeML: 150, RunTimeS: 270, MinIntervalS: 1200, MaxVolumeML: 1650,
			Schedule: []advice.Shot{{At: noon.Add(time.Hour), VolumeML: 150, RunTimeS: 270}},
		},
		Expected: &advice.Expected{PeakWaterContent: 0.61}, Reasons: []advice.Reason{{Code: "c", Text: "a sentence with numbers: 0.52"}}, Confidence: 0.86,
	})
	if err != nil {
		t.Fatal(err)
	}
	return wire.AdviceRecord{Advice: a, Sequence: int64(n)}
}

func approved(r wire.AdviceRecord) wire.AdviceRecord {
	a := *r.Advice
	a.Approval.State, a.Approval.By, a.Approval.At = policy.StateApproved, "ana", noon
	return wire.AdviceRecord{Advice: &a, Sequence: r.Sequence, Taken: []string{"0a", "0b"}}
}

// decision is an approval of one advice as the desk records it.
func decision(t testing.TB, zone string, n int) Batch {
	r := issued(t, zone, n)
	a := approved(r)
	id, digest := a.Advice.ID, a.Advice.Approval.Digest
	d := wire.Decision{Advice: id, Digest: digest, Decision: wire.Approve, By: "ana"}
	b := Batch{Changes: wire.Changes{
		Advice:    []wire.AdviceRecord{a},
		Moves:     []wire.Move{{Site: "north", Zone: zone, Advice: id, Digest: digest, From: policy.StatePending, To: policy.StateApproved, At: noon, By: "ana"}},
		Decisions: []wire.DecisionRecord{{Site: "north", Zone: zone, Decision: d, Result: wire.Accept(d, noon), Hash: "0b"}},
	}, Zones: []ZoneRow{{Site: "north", Zone: zone, Version: 1, At: noon, Snapshot: make([]byte, 4000)}}}
	if n > 1 {
		b.Forgotten = []wire.Forgotten{{Site: "north", Zone: zone, Advice: fmt.Sprintf("%s-%06d", zone, n-1)}}
	}
	return b
}

// full is a batch with a row of everything.
func full(t testing.TB, zone string) Batch {
	r := issued(t, zone, 1)
	a := approved(r)
	ec, temperature, hand := 2.91, 21.4, 250.0
	d := wire.Decision{Advice: a.Advice.ID, Digest: a.Advice.Approval.Digest, Decision: wire.Approve, By: "ana", Note: "seen"}
	return Batch{
		Changes: wire.Changes{
			Advice: []wire.AdviceRecord{r, a},
			Moves: []wire.Move{
				{Site: "north", Zone: zone, Advice: a.Advice.ID, Digest: d.Digest, To: policy.StatePending, At: noon.Add(-time.Hour)},
				{Site: "north", Zone: zone, Advice: a.Advice.ID, Digest: d.Digest, From: policy.StatePending, To: policy.StateApproved, At: noon, By: "ana", Note: "seen", Under: "u"},
			},
			Decisions: []wire.DecisionRecord{{Site: "north", Zone: zone, Decision: d, Result: wire.Accept(d, noon), Hash: "0b", Signed: true}},
			Covers: []wire.CoverRecord{{
				Site: "north", Zone: zone, Advice: a.Advice.ID, Digest: d.Digest, Action: advice.Irrigate, By: "ana", At: noon, Live: true,
				Limits: wire.Covers{Until: noon.Add(72 * time.Hour), MaxVolumeML: 1800, MaxShotML: 200, EarliestShot: 390, LatestShot: 990},
			}},
		},
		Events: []EventRow{{Site: "north", Zone: zone, Event: wire.Event{Time: noon, Kind: policy.WateredByHand, By: "ana", VolumeML: &hand}}},
		Zones:  []ZoneRow{{Site: "north", Zone: zone, Version: 3, At: noon, Snapshot: []byte{0, 1, 2, 255}}},
		Points: []Point{{
			Site: "north", Zone: zone, At: noon.Add(5 * time.Minute), WaterContent: 0.5711, SD: 0.0062, FullPoint: 0.6, RefillPoint: 0.5, AirFilledPorosity: 0.3,
			SaturationS: 12, IrrigationML: 150, DrainML: 20, UptakeML: 14, PoreEC: &ec, Temperature: &temperature,
			Probes: []Probe{
				{ID: "p1", Seen: true, WaterContent: 0.5812, AgeS: 30, Health: "ok"},
				{ID: "p2", Seen: true, WaterContent: 0.43, AgeS: 90_000, Health: "clock-wrong"},
				{ID: "p3", Health: "stale"},
			},
		}, {Site: "north", Zone: zone, At: noon.Add(10 * time.Minute), WaterContent: 0.57}},
		Forecasts: []Forecast{{Site: "north", Zone: zone, IssuedAt: noon.Add(time.Minute), Step: 15 * time.Minute, Plan: policy.Course{
			WaterContent: []float64{0.5711, 0.57, 0.6012}, Low: []float64{0.5611, 0.55, 0.5712}, High: []float64{0.5811, 0.59, 0.6312},
		}}},
	}
}

var sameTimes = cmp.Comparer(func(a, b time.Time) bool { return a.Equal(b) })

// TestRoundTrip: everything committed is there after reopening, and only the
// last of what has a last.
func TestRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a folder", "le?d#g%e r.db")
	if err := os.Mkdir(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	l := open(t, path)
	b := full(t, "bench-07")
	if err := l.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Fatal(err)
	}
	l = open(t, path)
	if l.Epoch() != 2 {
		t.Errorf("epoch %d at the second start, want 2", l.Epoch())
	}
	got, err := l.Recover(t.Context(), "north", "bench-07")
	if err != nil {
		t.Fatal(err)
	}
	want := ZoneRecord{
		Site: "north", Zone: "bench-07", Version: 3, At: noon, Snapshot: b.Zones[0].Snapshot,
		Advice: b.Advice[1:], Covers: b.Covers,
	}
	if diff := cmp.Diff(want, got, sameTimes); diff != "" {
		t.Errorf("recovered (-want +got):\n%s", diff)
	}
	history(t, &l.Reader, &b)
	none, err := l.Recover(t.Context(), "north", "bench-08")
	if diff := cmp.Diff(ZoneRecord{Site: "north", Zone: "bench-08"}, none); diff != "" || err != nil {
		t.Errorf("an unknown zone gave %v:\n%s", err, diff)
	}
}

func history(t *testing.T, l *Reader, b *Batch) {
	t.Helper()
	from, to := noon.Add(-24*time.Hour), noon.Add(24*time.Hour)
	moves, err := l.Moves(t.Context(), "north", "bench-07", from, to)
	if diff := cmp.Diff(b.Moves, moves, sameTimes); diff != "" || err != nil {
		t.Errorf("moves: %v\n%s", err, diff)
	}
	decisions, err := l.Decisions(t.Context(), "north", "bench-07", from, to)
	if diff := cmp.Diff(b.Decisions, decisions, sameTimes); diff != "" || err != nil {
		t.Errorf("decisions: %v\n%s", err, diff)
	}
	events, err := l.Events(t.Context(), "north", "bench-07", noon, noon)
	if diff := cmp.Diff([]wire.Event{b.Events[0].Event}, events, sameTimes); diff != "" || err != nil {
		t.Errorf("events: %v\n%s", err, diff)
	}
	all, err := l.Advice(t.Context(), "north", "bench-07", from, to)
	if diff := cmp.Diff([]*wire.Advice{b.Advice[1].Advice}, all, sameTimes); diff != "" || err != nil {
		t.Errorf("advice: %v\n%s", err, diff)
	}
	points := pointsOf(t, l, "bench-07", from, to)
	if diff := cmp.Diff(b.Points, points, sameTimes); diff != "" {
		t.Errorf("points:\n%s", diff)
	}
	forecasts := forecastsOf(t, l, "bench-07", from, to)
	if diff := cmp.Diff(b.Forecasts, forecasts, sameTimes, cmpopts.EquateApprox(0, 1e-9)); diff != "" {
		t.Errorf("forecasts:\n%s", diff)
	}
	zones, err := l.Zones(t.Context())
	if diff := cmp.Diff([]Zone{{"north", "bench-07"}}, zones); diff != "" || err != nil {
		t.Errorf("zones: %v\n%s", err, diff)
	}
}

func pointsOf(t testing.TB, l *Reader, zone string, from, to time.Time) (out []Point) {
	t.Helper()
	err := l.Points(t.Context(), "north", zone, from, to, func(p Point) error {
		out = append(out, p)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func forecastsOf(t testing.TB, l *Reader, zone string, from, to time.Time) (out []Forecast) {
	t.Helper()
	err := l.Forecasts(t.Context(), "north", zone, from, to, func(f Forecast) error {
		out = append(out, f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestForgotten: an advice that the desk needs no longer is history.
func TestForgotten(t *testing.T) {
	l := open(t, InMemory)
	one, two := issued(t, "b", 1), issued(t, "b", 2)
	batch := Batch{Changes: wire.Changes{Advice: []wire.AdviceRecord{one, two}, Forgotten: []wire.Forgotten{{Site: "north", Zone: "b", Advice: one.Advice.ID}}}}
	if err := l.Commit(t.Context(), batch); err != nil {
		t.Fatal(err)
	}
	r, err := l.Recover(t.Context(), "north", "b")
	if err != nil || len(r.Advice) != 1 || r.Advice[0].Advice.ID != two.Advice.ID {
		t.Errorf("recovered %+v, %v; want the second only", r.Advice, err)
	}
	if all, err := l.Advice(t.Context(), "north", "b", noon, noon.Add(time.Hour*9)); err != nil || len(all) != 2 {
		t.Errorf("history has %d advice, %v; want 2", len(all), err)
	}
}

// TestRecoverAll: zones come sorted, each with its own, whichever table has it.
func TestRecoverAll(t *testing.T) {
	for _, path := range []string{InMemory, filepath.Join(t.TempDir(), "ledger.db")} {
		l := open(t, path)
		both := full(t, "b.2")
		zoneOnly := Batch{Zones: []ZoneRow{{Site: "north", Zone: "a", Version: 1, At: noon, Snapshot: []byte("x")}}}
		adviceOnly := Batch{Changes: wire.Changes{Advice: []wire.AdviceRecord{issued(t, "b-1", 2), issued(t, "b-1", 1)}}}
		for _, b := range []Batch{both, adviceOnly, zoneOnly} {
			if err := l.Commit(t.Context(), b); err != nil {
				t.Fatal(err)
			}
		}
		var got []string
		err := l.RecoverAll(t.Context(), func(r ZoneRecord) error {
			s := fmt.Sprintf("%s %q", r.Zone, r.Snapshot)
			for _, a := range r.Advice {
				s += fmt.Sprint(" ", a.Sequence)
			}
			got = append(got, fmt.Sprint(s, " ", len(r.Covers)))
			return nil
		})
		want := []string{`a "x" 0`, `b-1 "" 1 2 0`, `b.2 "\x00\x01\x02\xff" 1 1`}
		if diff := cmp.Diff(want, got); diff != "" || err != nil {
			t.Errorf("%s: %v\n%s", path, err, diff)
		}
		stop := errors.New("stop")
		if err := l.RecoverAll(t.Context(), func(ZoneRecord) error { return stop }); !errors.Is(err, stop) {
			t.Errorf("a refused record gave %v", err)
		}
		// The streams are let go of: in memory there is one connection.
		if err := l.Commit(t.Context(), Batch{Zones: zoneOnly.Zones}); err != nil {
			t.Error(err)
		}
	}
}

// TestPoisonedBatch: a batch that cannot be written fails whole, and alone.
func TestPoisonedBatch(t *testing.T) {
	l := open(t, filepath.Join(t.TempDir(), "ledger.db"))
	first := issued(t, "b", 1)
	if err := l.Commit(t.Context(), Batch{Changes: wire.Changes{Advice: []wire.AdviceRecord{first}}}); err != nil {
		t.Fatal(err)
	}
	changed := *first.Advice
	changed.Approval.Digest = "sha-256:other"
	bad := Batch{
		Changes: wire.Changes{Advice: []wire.AdviceRecord{{Advice: &changed, Sequence: 1}}},
		Zones:   []ZoneRow{{Site: "north", Zone: "bad", At: noon, Snapshot: []byte{1}}},
		Points:  []Point{{Site: "north", Zone: "bad", At: noon, Probes: []Probe{{ID: "bad-1", Health: "ok"}}}},
	}
	good := func(i int) Batch {
		return Batch{Zones: []ZoneRow{{Site: "north", Zone: fmt.Sprint("good-", i), At: noon, Snapshot: []byte{1}}}, Points: []Point{{Site: "north", Zone: "good", At: noon}}}
	}
	// Hold the turn, so that all of them share one transaction.
	<-l.writer
	var wg sync.WaitGroup
	errs := make([]error, 9)
	for i := range errs {
		b := good(i)
		if i == 4 {
			b = bad
		}
		wg.Go(func() { errs[i] = l.Commit(t.Context(), b) })
	}
	for waiting := 0; waiting < len(errs); {
		l.waiting.mu.Lock()
		waiting = len(l.waiting.requests)
		l.waiting.mu.Unlock()
		time.Sleep(time.Millisecond)
	}
	l.writer <- struct{}{}
	wg.Wait()
	for i, err := range errs {
		if (err != nil) != (i == 4) {
			t.Errorf("batch %d: %v", i, err)
		}
	}
	if errs[4] != nil && !strings.Contains(errs[4].Error(), "another digest") {
		t.Errorf("the bad batch says %q", errs[4])
	}
	zones, err := l.Zones(t.Context())
	if err != nil || slices.Contains(zones, Zone{"north", "bad"}) || !slices.Contains(zones, Zone{"north", "good-0"}) {
		t.Errorf("zones %v, %v; want the good ones", zones, err)
	}
	if err := l.Commit(t.Context(), Batch{Points: []Point{{Site: "north", Zone: "bad", At: noon, WaterContent: 0.5, Probes: []Probe{{ID: "bad-1", Health: "ok"}}}}}); err != nil {
		t.Fatal(err)
	}
	if p := pointsOf(t, &l.Reader, "bad", noon, noon); len(p) != 1 || p[0].WaterContent != 0.5 || len(p[0].Probes) != 1 || p[0].Probes[0].ID != "bad-1" {
		t.Errorf("points of a zone whose key was rolled back: %+v", p)
	}
	if err := l.Writable(t.Context()); err != nil {
		t.Errorf("a bad batch made the ledger unwritable: %v", err)
	}
}

// TestPrune: old points and history go, what is live and what is young stays.
func TestPrune(t *testing.T) {
	l, err := Open(t.Context(), InMemory, Options{KeepPoints: 48 * time.Hour, KeepHistory: 72 * time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	}()
	b := full(t, "b")
	b.Points = nil
	b.Forecasts = nil
	for h := range 100 {
		b.Forecasts = append(b.Forecasts, Forecast{Site: "north", Zone: "b", IssuedAt: noon.Add(time.Duration(h) * time.Hour), Step: time.Hour, Plan: day(0)})
		b.Points = append(b.Points, Point{Site: "north", Zone: "b", At: noon.Add(time.Duration(h) * time.Hour)})
	}
	old := issued(t, "b", 2)
	b.Changes.Advice = append(b.Changes.Advice, old)
	b.Forgotten = []wire.Forgotten{{Site: "north", Zone: "b", Advice: old.Advice.ID}}
	if err := l.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	end := noon.Add(99 * time.Hour)
	if err := l.Prune(t.Context(), end); err != nil {
		t.Fatal(err)
	}
	points := pointsOf(t, &l.Reader, "b", noon, end)
	if len(points) != 49 || points[0].At.Before(end.Add(-49*time.Hour)) {
		t.Errorf("%d points from %v, want 49 of the last 48 h", len(points), points[0].At)
	}
	if f := forecastsOf(t, &l.Reader, "b", noon, end); len(f) != 49 || f[0].IssuedAt.Before(end.Add(-49*time.Hour)) {
		t.Errorf("%d forecasts from %v, want 49 of the last 48 h", len(f), f[0].IssuedAt)
	}
	if m, err := l.Moves(t.Context(), "north", "b", noon.Add(-24*time.Hour), end); err != nil || len(m) != 0 {
		t.Errorf("moves %+v, %v; want none", m, err)
	}
	if a, err := l.Advice(t.Context(), "north", "b", noon, end); err != nil || len(a) != 1 || a[0].ID == old.Advice.ID {
		t.Errorf("%d advice left (%v); want the live one, however old", len(a), err)
	}
}

// TestGivenUp: a commit given up while it waits its turn leaves nothing behind.
func TestGivenUp(t *testing.T) {
	l := open(t, InMemory)
	<-l.writer
	ctx, stop := context.WithCancel(t.Context())
	stop()
	err := l.Commit(ctx, full(t, "b"))
	l.writer <- struct{}{}
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if err := l.Commit(t.Context(), full(t, "c")); err != nil {
		t.Fatal(err)
	}
	if zones, err := l.Zones(t.Context()); err != nil || len(zones) != 1 {
		t.Errorf("zones %v, %v; want the second only", zones, err)
	}
}

// TestClosed: a closed ledger answers with an error and does not hang.
func TestClosed(t *testing.T) {
	l, err := Open(t.Context(), InMemory, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(l.Close(), l.Close()); err != nil {
		t.Fatal(err)
	}
	if err := l.Commit(context.Background(), full(t, "b")); err == nil || !strings.Contains(err.Error(), "closed") {
		t.Errorf("commit gave %v", err)
	}
	if err := l.Prune(context.Background(), noon); err == nil {
		t.Error("prune gave no error")
	}
}
