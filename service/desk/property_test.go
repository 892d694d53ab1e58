package desk

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// model is a ledger as the desk needs it: the last record of each advice and
// standing approval, kept as bytes.
type model struct {
	site, zone string
	advice     map[string][]byte
	sequence   map[string]int64
	taken      map[string][]string
	state      map[string]policy.ApprovalState // where the moves lead
	live       map[string]bool
	covers     map[string]wire.CoverRecord
	approved   map[string]bool // digests that a person, or a standing approval, approved
}

func newModel(d *Desk) *model {
	return &model{
		d.site, d.zone, map[string][]byte{}, map[string]int64{}, map[string][]string{}, map[string]policy.ApprovalState{},
		map[string]bool{}, map[string]wire.CoverRecord{}, map[string]bool{},
	}
}

// failer is what testing.TB and rapid.T have in common here.
type failer interface {
	Fatal(...any)
	Fatalf(string, ...any)
	Helper()
}

// apply takes changes and checks that the moves follow on from each other.
func (m *model) apply(t failer, ch wire.Changes) {
	t.Helper()
	for _, r := range ch.Advice {
		b, err := r.Advice.Marshal()
		if err != nil {
			t.Fatalf("%v", err)
		}
		id := r.Advice.ID
		m.advice[id], m.sequence[id], m.taken[id] = b, r.Sequence, r.Taken
		if _, known := m.live[id]; !known {
			m.live[id] = true
		}
	}
	for _, v := range ch.Moves {
		if m.state[v.Advice] != v.From {
			t.Fatalf("advice %s moves from %q to %q, the moves before led to %q", v.Advice, v.From, v.To, m.state[v.Advice])
		}
		if v.To == policy.StateApproved {
			if v.By == "" {
				t.Fatalf("advice %s was approved by nobody", v.Advice)
			}
			m.approved[v.Digest] = true
		}
		m.state[v.Advice] = v.To
	}
	for _, c := range ch.Covers {
		m.covers[c.Advice] = c
	}
	for _, f := range ch.Forgotten {
		m.live[f.Advice] = false
	}
}

// restore makes a desk from the records, as after a restart.
func (m *model) restore(t failer, rules *Rules) *Desk {
	t.Helper()
	var records []wire.AdviceRecord
	for id, b := range m.advice {
		if !m.live[id] {
			continue
		}
		a, err := wire.ParseAdvice(b)
		if err != nil {
			t.Fatalf("%v", err)
		}
		records = append(records, wire.AdviceRecord{Advice: a, Sequence: m.sequence[id], Taken: m.taken[id]})
	}
	var covers []wire.CoverRecord
	for _, c := range m.covers {
		covers = append(covers, c)
	}
	d, refused := Restore(m.site, m.zone, rules, records, covers)
	if len(refused) > 0 {
		t.Fatalf("%+v", refused)
	}
	return d
}

var sameDesk = cmp.Options{
	cmp.AllowUnexported(Desk{}, entry{}),
	cmp.Comparer(func(a, b *Rules) bool { return true }),
	cmp.Comparer(func(a, b time.Time) bool { return a.Equal(b) }),
	cmp.Comparer(func(a, b refusals) bool { return true }), // what goes on record, not what stands
}

// TestNothingUnapprovedOnSetpoint: no sequence of proposals, decisions, waits
// and restarts puts anything on the setpoint topics that was not approved with
// its exact digest, or keeps it there past its validity; and a desk restored
// from the ledger is the desk that never stopped.
func TestNothingUnapprovedOnSetpoint(t *testing.T) { rapid.Check(t, season) }

func FuzzSeason(f *testing.F) { f.Fuzz(rapid.MakeFuzz(season)) }

func season(t *rapid.T) {
	s := &seasonState{desk: New("north", "bench-07", openRules()), plain: New("north", "bench-07", openRules()), now: morning.Add(-12 * time.Hour)}
	s.ledger = newModel(s.desk)
	t.Repeat(map[string]func(*rapid.T){
		"propose": s.propose,
		"decide":  s.decide,
		"wait":    s.wait,
		"restart": s.restart,
		"fold":    s.fold,
		"":        s.check,
	})
}

type seasonState struct {
	desk   *Desk
	plain  *Desk // the same, never folded nor restored
	ledger *model
	now    time.Time
	issued []*advice.Advice
}

func (s *seasonState) propose(t *rapid.T) {
	start := morning.Add(s.now.Sub(morning).Truncate(day)).Add(time.Duration(rapid.IntRange(0, 1).Draw(t, "days ahead")) * day)
	n := len(s.issued) + 1
	var a *advice.Advice
	switch rapid.IntRange(0, 5).Draw(t, "kind") {
	case 0:
		a = inspect(n, start)
	case 1:
		a = withhold(n, start)
	default:
		a = plan(n, start)
		a.Setpoints.ShotVolumeML = rapid.SampledFrom([]int{150, 200, 201}).Draw(t, "shot")
	}
	if a.Setpoints != nil {
		a.DecideBy = s.now.Add(time.Duration(rapid.IntRange(0, 12*60).Draw(t, "minutes to decide")) * time.Minute)
	}
	s.both(t, func(d *Desk) wire.Changes {
		ch, err := d.Propose(a, s.now)
		if err != nil {
			t.Fatal(err)
		}
		return ch
	})
	s.issued = append(s.issued, a)
}

func (s *seasonState) decide(t *rapid.T) {
	// nothing to decide on yet; a skip would fail a run that draws only this
	if len(s.issued) == 0 {
		return
	}
	a := s.issued[max(0, len(s.issued)-1-rapid.IntRange(0, 4).Draw(t, "back"))]
	digest := digestOf(t, a)
	if a.Setpoints == nil || rapid.IntRange(0, 9).Draw(t, "digest") == 0 {
		digest = fmt.Sprintf("sha-256:%064d", 7)
	}
	v := rapid.SampledFrom([]wire.Verdict{wire.Approve, wire.Approve, wire.Reject, wire.Withdraw}).Draw(t, "verdict")
	d := wire.Decision{Advice: a.ID, Digest: digest, Decision: v, By: "ana"}
	if v == wire.Approve && rapid.Bool().Draw(t, "covers") {
		d.Covers = &wire.Covers{Until: s.now.Add(3 * day).Truncate(time.Second), MaxVolumeML: 1800, MaxShotML: 200, EarliestShot: 5 * 60, LatestShot: 22 * 60}
	}
	b, err := d.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	var o Outcome
	s.both(t, func(d *Desk) wire.Changes {
		o = d.Decide(b, s.now)
		return o.Changes
	})
	if o.Result.Result == wire.Accepted && digest != digestOf(t, a) {
		t.Fatalf("%s of %s was accepted with another digest", v, a.ID)
	}
}

func (s *seasonState) wait(t *rapid.T) {
	due := s.desk.NextDue(s.now)
	to := s.now.Add(time.Duration(rapid.IntRange(1, 2000).Draw(t, "minutes")) * time.Minute)
	if !due.IsZero() && rapid.Bool().Draw(t, "to what is due") {
		to = due
	}
	if due.IsZero() || due.After(s.now.Add(time.Second)) {
		s.quietUntil(t, due)
	}
	s.now = to
	s.tick(t)
}

func (s *seasonState) tick(t *rapid.T) {
	s.both(t, func(d *Desk) wire.Changes { return d.Tick(s.now) })
}

// both does something to the desk and to the one that is never folded, to which the
// same must come of it.
func (s *seasonState) both(t *rapid.T, do func(*Desk) wire.Changes) {
	want := do(s.plain)
	got := do(s.desk)
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
		t.Fatalf("the desk does otherwise (-never folded +folded at times):\n%s", diff)
	}
	if want, got := s.plain.NextDue(s.now), s.desk.NextDue(s.now); !got.Equal(want) {
		t.Fatalf("the desk is due at %s, never folded at %s", clock(got), clock(want))
	}
	s.ledger.apply(t, got)
}

// quietUntil checks that nothing happens before what is said to be due next.
func (s *seasonState) quietUntil(t *rapid.T, due time.Time) {
	before := s.now.Add(30 * day)
	if !due.IsZero() {
		before = due.Add(-time.Nanosecond)
	}
	early := s.desk.Clone()
	if ch := early.Tick(before); !ch.Empty() {
		t.Fatalf("next due %s, yet at %s it changed %+v", clock(due), clock(before), ch)
	}
	if diff := cmp.Diff(s.publications(t, s.desk, s.now), s.publications(t, early, before)); diff != "" {
		t.Fatalf("next due %s, yet before it the publications changed:\n%s", clock(due), diff)
	}
}

// fold packs the desk, of which nobody may notice anything.
func (s *seasonState) fold(t *rapid.T) {
	before := s.publications(t, s.desk, s.now)
	if _, err := s.desk.Fold(); err != nil {
		t.Fatal(err)
	}
	for _, e := range s.desk.entries {
		if a := e.advice; a.Setpoints != nil || a.Expected != nil || a.Reasons != nil || a.Cautions != nil {
			t.Fatalf("advice %s is folded, and its content stands beside it", a.ID)
		}
	}
	if diff := cmp.Diff(before, s.publications(t, s.desk, s.now)); diff != "" {
		t.Fatalf("folding changed the publications:\n%s", diff)
	}
}

func (s *seasonState) restart(t *rapid.T) {
	restored := s.ledger.restore(t, openRules())
	s.fold(t)
	if _, err := restored.Fold(); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(s.desk, restored, sameDesk); diff != "" {
		t.Fatalf("the restored desk differs (-going on +restored):\n%s", diff)
	}
	s.desk, s.plain.refused = restored, restored.refused // which begin anew
}

func (s *seasonState) publications(t *rapid.T, d *Desk, now time.Time) map[string]string {
	messages, err := d.Publications(topics, now)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, m := range messages {
		out[m.Topic] = string(m.Payload)
	}
	return out
}

func (s *seasonState) check(t *rapid.T) {
	s.tick(t)
	out := s.publications(t, s.desk, s.now)
	if diff := cmp.Diff(s.publications(t, s.plain, s.now), out); diff != "" {
		t.Fatalf("the desk publishes otherwise (-never folded +folded at times):\n%s", diff)
	}
	pending := 0
	for i, e := range s.desk.entries {
		if e.advice.Approval.State == policy.StatePending {
			pending++
			if i != len(s.desk.entries)-1 {
				t.Fatalf("advice %s is pending and not the newest", e.advice.ID)
			}
		}
	}
	if pending > 1 || len(s.desk.entries) > 3+keepClosed {
		t.Fatalf("%d pending, %d held", pending, len(s.desk.entries))
	}
	whole := out[topics.Setpoint("bench-07")]
	plain := out[topics.SetpointNumber("bench-07", "max_volume_ml")]
	if (whole == "") != (plain == "") {
		t.Fatalf("setpoint is %q, its plain number %q", whole, plain)
	}
	if whole == "" {
		return
	}
	sp, err := wire.ParseSetpoint([]byte(whole))
	if err != nil {
		t.Fatal(err)
	}
	if !s.ledger.approved[sp.Digest] || s.ledger.state[sp.Advice] != policy.StateApproved || sp.ApprovedBy == "" {
		t.Fatalf("advice %s is on setpoint, on record it is %q", sp.Advice, s.ledger.state[sp.Advice])
	}
	again := wire.Advice{ID: sp.Advice, Site: "north", Zone: "bench-07", Action: sp.Action, ValidFrom: sp.ValidFrom, ValidUntil: sp.ValidUntil, Setpoints: sp.Setpoints}
	if digest, err := again.Digest(); err != nil || digest != sp.Digest {
		t.Fatalf("what is on setpoint has digest %s (%v), it says %s", digest, err, sp.Digest)
	}
	if !s.now.Before(sp.ValidUntil) {
		t.Fatalf("advice %s is on setpoint at %s, past %s", sp.Advice, clock(s.now), clock(sp.ValidUntil))
	}
}
