package service

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/exposition"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// still is a house of one zone without a broker and without a clock of its own.
type still struct {
	*house
	published []wire.Message
}

func newStill(t *testing.T) *still {
	t.Helper()
	l, err := ledger.Open(t.Context(), ledger.InMemory, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return newStillOn(t, "telemetry", l)
}

// newStillOn goes on from what a ledger has: as after a kill, where nothing more
// was said to the house of before.
func newStillOn(t *testing.T, clock string, l *ledger.Ledger) *still {
	t.Helper()
	return newStillOf(t, siteOf("north", 1), clock, l)
}

// newStillOf is of a site of one's own.
func newStillOf(t *testing.T, text, clock string, l *ledger.Ledger) *still {
	t.Helper()
	return newStillWith(t, text, clock, l, slog.New(slog.NewTextHandler(io.Discard, nil)))
}

// newStillWith tells its log besides.
func newStillWith(t *testing.T, text, clock string, l *ledger.Ledger, log *slog.Logger) *still {
	t.Helper()
	settings := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, text), Clock: clock, StateEvery: time.Minute}
	sites, err := loadSites(settings.Sites, log)
	if err != nil {
		t.Fatal(err)
	}
	s := new(still)
	if s.house, err = newHouse(t.Context(), settings, sites, l, newMetrics("test"), 1, log); err != nil {
		t.Fatal(err)
	}
	s.publish = func(_ int, m wire.Message, _ time.Time) { s.published = append(s.published, m) }
	s.house.telemetry = func(zone int, r shard.Telemetry) { s.lots[0].shard.Telemetry(s.places[zone].index, r) }
	s.house.control = func(zone int, c shard.Control) { s.lots[0].shard.Control(s.places[zone].index, c) }
	return s
}

// refused is how many messages were refused for a reason.
func (s *still) refused(t *testing.T, reason string) int {
	t.Helper()
	var b strings.Builder
	if err := s.metrics.Expose(&b); err != nil {
		t.Fatal(err)
	}
	name := fmt.Sprintf("rhizostat_intake_messages_total{reason=%q,result=\"refused\"} ", reason)
	_, rest, ok := strings.Cut(b.String(), name)
	value, _, _ := strings.Cut(rest, "\n")
	n, err := strconv.Atoi(value)
	if !ok || err != nil {
		t.Fatalf("no count of messages refused as %s (%q)", reason, value)
	}
	return n
}

// happened lets a person say an event.
func (s *still) happened(t *testing.T, payload string, at time.Time) {
	t.Helper()
	if !s.person(s.topics[0].Event(bench(0)), []byte(payload), at, nil) {
		t.Fatal("the event is nobody's")
	}
	s.lots[0].flush()
}

// tell tells readings up to a time after morning.
func (s *still) tell(from, to time.Duration) {
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	for after := from; after <= to; after += 5 * time.Minute {
		for p, name := range []string{"p1", "p2"} {
			s.receive(topics.Telemetry(bench(0), name), reading(0, p, after), morning.Add(after))
		}
	}
	s.lots[0].shard.DrainAll()
	s.lots[0].flush()
}

// decide lets a person decide, without a flush: it is in the same lot as what
// comes after it.
func (s *still) decide(t *testing.T, a *wire.Advice, verdict wire.Verdict) {
	t.Helper()
	d := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: verdict, By: "head grower"}
	payload, err := d.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	if !s.person(topics.Decision(bench(0)), payload, s.workers[0].now, nil) {
		t.Fatal("the decision is nobody's")
	}
}

// A zone that was set aside refuses an approval, and only that: a withdrawal
// that came just before, in the same lot, stands.
func TestAnApprovalOfAZoneSetAsideUndoesNothing(t *testing.T) {
	s := newStill(t)
	w := s.workers[0]
	s.tell(0, 40*time.Minute)
	today := w.desk.Standing()
	if today == nil {
		t.Fatal("no advice for today")
	}
	s.decide(t, today, wire.Approve)
	s.lots[0].flush()
	s.tell(45*time.Minute, 11*time.Hour+15*time.Minute)
	tomorrow := w.desk.Standing()
	if tomorrow.ID == today.ID || tomorrow.Approval.State != policy.StatePending {
		t.Fatalf("no advice for tomorrow waits: %+v", tomorrow.Approval)
	}
	if force := w.desk.InForce(w.now); force == nil || force.ID != today.ID {
		t.Fatal("today's advice is not in force")
	}

	w.aside = errors.New("the engine stopped: as the test wants it")
	s.published = nil
	s.decide(t, today, wire.Withdraw)
	s.decide(t, tomorrow, wire.Approve)
	s.lots[0].flush()

	var answers []wire.Result
	cleared := false
	for _, m := range s.published {
		switch {
		case m.Topic == w.topics.DecisionResult(bench(0)):
			r, err := wire.ParseResult(m.Payload)
			if err != nil {
				t.Fatal(err)
			}
			answers = append(answers, r)
		case m.Topic == w.topics.Setpoint(bench(0)):
			cleared = len(m.Payload) == 0
		}
	}
	if len(answers) != 2 || answers[0].Result != wire.Accepted || answers[1].Result != wire.Refused || answers[1].Reason.Code != string(wire.NotAllowed) || !strings.HasPrefix(answers[1].Reason.Text, "Zone bench-0 is set aside after a fault") {
		t.Fatalf("answers %+v", answers)
	}
	if !cleared || w.desk.InForce(w.now) != nil {
		t.Errorf("withdrawn, and in force is %+v", w.desk.InForce(w.now))
	}
	moves, err := s.ledger.Moves(t.Context(), "north", bench(0), time.Time{}, farFuture)
	if err != nil {
		t.Fatal(err)
	}
	last := moves[len(moves)-1]
	if last.Advice != today.ID || last.To != policy.StateWithdrawn {
		t.Errorf("the last move on record is %+v", last)
	}
}

// A closed ledger, as one that cannot be written: what a step moved is taken
// back and said, and is done again once it can be recorded.
func TestWhatCannotBeRecordedDoesNotStand(t *testing.T) {
	s := newStill(t)
	w := s.workers[0]
	s.tell(0, 25*time.Minute)
	if w.desk.Standing() != nil {
		t.Fatal("an advice too soon for this test")
	}
	whole := s.ledger
	broken, err := ledger.Open(t.Context(), ledger.InMemory, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := broken.Close(); err != nil {
		t.Fatal(err)
	}
	s.ledger = broken
	s.published = nil
	s.tell(30*time.Minute, 50*time.Minute)
	if w.desk.Standing() != nil {
		t.Fatalf("an advice stands that is not on record: %+v", w.desk.Standing())
	}
	said := false
	for _, m := range s.published {
		switch m.Topic {
		case w.topics.Advice(bench(0)):
			t.Errorf("published without a record: %s", m.Payload)
		case w.topics.State(bench(0)):
			state, err := wire.ParseState(m.Payload)
			if err != nil {
				t.Fatal(err)
			}
			said = state.NotApprovable != nil && state.NotApprovable.Code == "ledger-unavailable"
		}
	}
	if !said {
		t.Error("the state does not say that nothing can be approved")
	}
	s.ledger = whole
	s.tell(55*time.Minute, 65*time.Minute)
	if a := w.desk.Standing(); a == nil || a.Approval.State != policy.StatePending {
		t.Errorf("with a ledger again: %+v", a)
	}
}

// A decision that is on record and comes again while the ledger cannot be written is
// taken all the same; one whose first word goes down with the same flush is not.
func TestADecisionSaidAgainWhileTheLedgerFails(t *testing.T) {
	for name, c := range map[string]struct {
		recorded bool
		want     []string
	}{
		"on record":         {true, []string{wire.Accepted, wire.Accepted}},
		"in the same flush": {false, []string{wire.Refused, wire.Refused}},
	} {
		t.Run(name, func(t *testing.T) {
			s := newStill(t)
			s.tell(0, 40*time.Minute)
			a := s.workers[0].desk.Standing()
			if c.recorded {
				s.decide(t, a, wire.Approve)
				s.lots[0].flush()
			}
			broken := inMemory(t)
			if err := broken.Close(); err != nil {
				t.Fatal(err)
			}
			s.ledger, s.published = broken, nil
			s.decide(t, a, wire.Approve)
			s.decide(t, a, wire.Approve)
			s.happened(t, `{"kind":"shoots-pruned","by":"anna"}`, s.workers[0].now) // what has to be written
			var got []string
			for _, m := range s.published {
				if m.Topic != s.topics[0].DecisionResult(bench(0)) {
					continue
				}
				result, err := wire.ParseResult(m.Payload)
				if err != nil {
					t.Fatal(err)
				}
				got = append(got, result.Result)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("answered %q, want %q", got, c.want)
			}
		})
	}
}

// What is too large is refused and counted as that, telemetry and events alike.
func TestWhatIsTooLargeIsCounted(t *testing.T) {
	s := newStill(t)
	s.tell(0, 10*time.Minute)
	at := s.workers[0].now
	s.receive(s.topics[0].Telemetry(bench(0), "p1"), bytes.Repeat([]byte("["), 1<<20-100), at)
	s.happened(t, `{"kind":"shoots-pruned","by":"anna","note":"`+strings.Repeat("x", 1<<20)+`"}`, at)
	if n := s.refused(t, "too-large"); n != 2 {
		t.Errorf("%d messages were counted as too large, want 2", n)
	}
}

// A zone whose devices are silent says how it is all the same: after a restart that
// is over before its next state was due, and when a new daemon's connection is up
// before its first second is over.
func TestASilentZoneGoesOnAfterAConnection(t *testing.T) {
	l, err := ledger.Open(t.Context(), ledger.InMemory, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	now := morning
	for _, begin := range []string{"a new daemon", "a restart within a minute"} {
		s := newStillOn(t, "wall", l)
		s.house.control(0, shard.Control{Kind: shard.Resync, Time: now})
		s.lots[0].flush()
		s.published = nil
		for range 150 { // s
			now = now.Add(time.Second)
			s.lots[0].shard.Tick(now)
			s.lots[0].flush()
		}
		states := 0
		for _, m := range s.published {
			if m.Topic == s.topics[0].State(bench(0)) {
				states++
			}
		}
		if states < 2 {
			t.Errorf("%s: %d states in 150 s without readings, want one a minute", begin, states)
		}
		if err := s.house.close(); err != nil {
			t.Fatal(err)
		}
		now = now.Add(time.Second)
	}
}

// sample is the newest of the zone.
func (s *still) sample(t *testing.T) exposition.Sample {
	t.Helper()
	var out *exposition.Sample
	s.metrics.each(func(sample *exposition.Sample) bool {
		out = sample
		return true
	})
	if out == nil {
		t.Fatal("the zone has no sample")
	}
	return *out
}

// Counters never fall, though a kill costs the minutes since the last snapshot: a
// monitor would take the fall for a new beginning.
func TestCountersDoNotFallAfterAKill(t *testing.T) {
	l, err := ledger.Open(t.Context(), ledger.InMemory, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	s := newStillOn(t, "telemetry", l)
	counters := func() [7]float64 {
		x := s.sample(t)
		return [7]float64{x.InBandS, x.AboveBandS, x.BelowBandS, x.SaturationS, x.UptakeML, x.IrrigationML, x.DrainML}
	}
	s.tell(0, 5*time.Minute)
	if last := counters(); math.IsNaN(last[0]) {
		t.Fatalf("a new zone with a state shows no counters: %v", last)
	}
	last := counters()
	for after := 10 * time.Minute; after < 3*time.Hour; after += 10 * time.Minute {
		s.tell(after, after)
		s.receive(s.topics[0].Telemetry(bench(0), "zone"), []byte(`{"irrigation_volume":120}`), morning.Add(after+3*time.Minute))
		s.tell(after+4*time.Minute, after+4*time.Minute) // too soon for a snapshot
		before := last
		for _, when := range []string{"before a kill", "after it"} {
			now := counters()
			for i := range now {
				if !(now[i] >= last[i]) {
					t.Fatalf("%s %s: a counter went from %v to %v", after, when, last, now)
				}
			}
			last = now
			if when == "before a kill" {
				s = newStillOn(t, "telemetry", l)
				s.tell(after+time.Minute, after+time.Minute)
			}
		}
		if last == before {
			t.Fatalf("%s: no counter has gone on from %v", after, last)
		}
	}
}

// Whether an advice waits for a person is told when it changes, not with the next
// state, and after a restart before there is any.
func TestWhatWaitsIsToldAtOnce(t *testing.T) {
	l, err := ledger.Open(t.Context(), ledger.InMemory, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	s := newStillOn(t, "telemetry", l)
	s.tell(0, 40*time.Minute)
	a := s.workers[0].desk.Standing()
	if a == nil {
		t.Fatal("no advice")
	}
	check := func(when string, pending bool) {
		t.Helper()
		x := s.sample(t)
		if x.Pending != pending || pending && x.DecideByUnixS != float64(a.Approval.DecideBy.Unix()) || !pending && !math.IsNaN(x.DecideByUnixS) {
			t.Errorf("%s: waits %v, to be decided by %v; want %v", when, x.Pending, x.DecideByUnixS, pending)
		}
	}
	check("advised", true)
	s = newStillOn(t, "telemetry", l)
	check("after a restart", true)
	s.decide(t, a, wire.Approve)
	s.lots[0].flush()
	check("approved", false)
	s = newStillOn(t, "telemetry", l)
	check("approved, and after a restart", false)
	if x := s.sample(t); !math.IsNaN(x.WaterContent) || !(x.InBandS > 0) {
		t.Errorf("before its first state a zone shows water content %v and %v s in band; want none, and what is on record", x.WaterContent, x.InBandS)
	}
}
