package service

import (
	"fmt"
	"io"
	"log/slog"
	"math"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// opened are the sites of some settings and a ledger in memory, which the test's end closes.
func opened(t *testing.T, settings Settings, log *slog.Logger) ([]*site.Site, *ledger.Ledger) {
	t.Helper()
	sites, err := loadSites(settings.Sites, log)
	if err != nil {
		t.Fatal(err)
	}
	l, err := ledger.Open(t.Context(), ledger.InMemory, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	})
	return sites, l
}

// Two zones of one lot, and of one of them something that no ledger takes: the
// other's approval is on record and published, and the next lot is whole again.
func TestWhatCannotBeWrittenOfOneZoneHoldsUpNoOther(t *testing.T) {
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	settings := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, siteOf("north", 2)), Clock: "telemetry", StateEvery: time.Minute}
	sites, l := opened(t, settings, log)
	h, err := newHouse(t.Context(), settings, sites, l, newMetrics("test"), 1, log)
	if err != nil {
		t.Fatal(err)
	}
	standing := map[string]string{}
	h.publish = func(_ int, m wire.Message, _ time.Time) { standing[m.Topic] = string(m.Payload) }
	h.telemetry = func(zone int, r shard.Telemetry) { h.lots[0].shard.Telemetry(h.places[zone].index, r) }
	h.control = func(zone int, c shard.Control) { h.lots[0].shard.Control(h.places[zone].index, c) }
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	for after := time.Duration(0); after <= 40*time.Minute; after += 5 * time.Minute {
		for i := range 2 {
			for p, name := range []string{"p1", "p2"} {
				h.receive(topics.Telemetry(bench(i), name), reading(i, p, after), morning.Add(after))
			}
		}
	}
	h.lots[0].shard.DrainAll()
	h.lots[0].flush()

	approve := func(zone int) {
		a := h.workers[zone].desk.Standing()
		if a == nil || a.Approval.State != policy.StatePending {
			t.Fatalf("nothing waits of %s: %+v", bench(zone), a)
		}
		d := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: wire.Approve, By: "head grower"}
		payload, err := d.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		h.person(topics.Decision(bench(zone)), payload, h.workers[zone].now, nil)
	}
	bad := h.workers[0]
	bad.touch()
	bad.pending.points = append(bad.pending.points, ledger.Point{Site: "north", Zone: bench(0), At: morning, WaterContent: math.NaN()})
	approve(0)
	approve(1)
	h.lots[0].flush()
	if standing[topics.Setpoint(bench(0))] != "" || bad.desk.Pending() == false {
		t.Error("what could not be recorded stands")
	}
	if standing[topics.Setpoint(bench(1))] == "" {
		t.Error("one zone kept the other's approval from its setpoints")
	}
	if err := h.ledgerFault(); err != nil {
		t.Errorf("the ledger is said not to be writable: %v", err)
	}
	approve(0)
	h.lots[0].flush()
	if standing[topics.Setpoint(bench(0))] == "" {
		t.Error("what could not be written keeps all that comes after it from the record")
	}
	for i := range 2 {
		moves, err := l.Moves(t.Context(), "north", bench(i), time.Time{}, farFuture)
		if err != nil || len(moves) == 0 || moves[len(moves)-1].To != policy.StateApproved {
			t.Errorf("%s: on record are %+v (%v)", bench(i), moves, err)
		}
	}
}

// After an outage each zone notes its points of hours or days before the next has its
// turn: what waits for a flush is bounded, and all of it comes on record.
func TestPointsDoNotPileUp(t *testing.T) {
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	settings := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, siteOf("north", 2)), Clock: "telemetry", StateEvery: time.Minute}
	sites, l := opened(t, settings, log)
	h, err := newHouse(t.Context(), settings, sites, l, newMetrics("test"), 1, log)
	if err != nil {
		t.Fatal(err)
	}
	h.publish = func(int, wire.Message, time.Time) {}
	lot, noted := h.lots[0], 0
	for !lot.full() && noted <= maxPoints {
		for _, w := range h.workers {
			w.now = morning.Add(time.Duration(noted) * pointEvery)
			w.touch()
			w.notePoint(&policy.State{Time: w.now, Known: true, WaterContent: 0.5, FullPoint: 0.6, RefillPoint: 0.4, AirFilledPorosity: 0.4})
			noted++
		}
	}
	if noted != maxPoints {
		t.Fatalf("a flush is due after %d points; expected %d", noted, maxPoints)
	}
	lot.flush()
	if lot.full() {
		t.Error("a flush is due right after one")
	}
	kept := 0
	for i := range h.workers {
		if err := l.Points(t.Context(), "north", bench(i), morning, farFuture, func(ledger.Point) error { kept++; return nil }); err != nil {
			t.Fatal(err)
		}
	}
	if kept != noted {
		t.Errorf("%d of %d points are on record", kept, noted)
	}
}

// What only waits is folded, some at a flush.
func TestAdviceIsFoldedSomeAtATime(t *testing.T) {
	const zones = maxFolded + 6
	s := newStillOf(t, siteOf("north", zones), "telemetry", inMemory(t))
	for i, w := range s.workers {
		w.now = morning
		w.touch()
		w.propose(&advice.Advice{
			ID: fmt.Sprintf("ADVICE%04d", i), Site: "north", Zone: w.settings.Zone, Action: advice.Inspect,
			IssuedAt: morning, ValidFrom: morning, ValidUntil: morning.Add(24 * time.Hour), Reasons: []advice.Reason{{Code: "c", Text: "t"}},
		})
	}
	for _, want := range []int{zones - maxFolded, 0} { // of desks that have one to fold
		s.lots[0].flush()
		left := 0
		for _, w := range s.workers {
			if n, err := w.desk.Clone().Fold(); err != nil || n > 1 {
				t.Fatalf("%d folded, %v", n, err)
			} else {
				left += n
			}
			w.touch()
		}
		if left != want {
			t.Errorf("%d advice are not folded after a flush, want %d", left, want)
		}
	}
	if got := s.workers[0].desk.Standing(); got == nil || got.Reasons[0].Text != "t" {
		t.Errorf("it comes back as %+v", got)
	}
}
