package desk

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// morning is the start of the irrigation day of these tests; local time is two
// hours later.
var (
	morning = time.Date(2026, 5, 4, 4, 0, 0, 0, time.UTC)
	local   = time.FixedZone("local", 2*60*60)
	topics  = wire.Topics{Root: "rhizostat", Site: "north"}
)

func openRules() *Rules {
	return &Rules{Location: local, StandingAllowed: true, StandingMax: 7 * 24 * time.Hour}
}

// plan is an irrigate advice for the day that starts at from: shots of 150 mL
// from one hour in to ten hours in.
func plan(n int, from time.Time) *advice.Advice {
	first := from.Add(time.Hour)
	s := &advice.Setpoints{
		FirstShotAt: first, LastShotBy: from.Add(10 * time.Hour),
		TriggerWaterContent: 0.52, TargetWaterContent: 0.6, ShotVolumeML: 150, RunTimeS: 270,
		MinIntervalS: 1200, MaxVolumeML: 1650, DrainFraction: 0.1,
	}
	for i := range 10 {
		s.Schedule = append(s.Schedule, advice.Shot{At: first.Add(time.Duration(i) * time.Hour), VolumeML: 150, RunTimeS: 270})
	}
	s.Schedule = s.Schedule[:9]
	return &advice.Advice{
		ID: fmt.Sprintf("ADVICE%04d", n), Site: "north", Zone: "bench-07",
		IssuedAt: from.Add(-12 * time.Hour), ValidFrom: from, ValidUntil: from.Add(24 * time.Hour),
		Action: advice.Irrigate, Setpoints: s, Expected: &advice.Expected{PeakWaterContent: 0.61},
		Reasons: []advice.Reason{{Code: "c", Text: "t"}}, Confidence: 0.8, DecideBy: first.Add(-10 * time.Minute),
	}
}

func withhold(n int, from time.Time) *advice.Advice {
	a := plan(n, from)
	a.Action, a.Setpoints = advice.Withhold, &advice.Setpoints{TriggerWaterContent: 0.45}
	return a
}

func inspect(n int, from time.Time) *advice.Advice {
	a := plan(n, from)
	a.Action, a.Setpoints, a.Expected, a.DecideBy = advice.Inspect, nil, nil, time.Time{}
	return a
}

// table is a desk with what a test asks of it.
type table struct {
	*Desk
	t testing.TB
}

func newTable(t testing.TB) *table { return &table{New("north", "bench-07", openRules()), t} }

func (x *table) propose(a *advice.Advice, now time.Time) wire.Changes {
	x.t.Helper()
	ch, err := x.Propose(a, now)
	if err != nil {
		x.t.Fatal(err)
	}
	return ch
}

// digestOf is the digest that an advice is published with.
func digestOf(t failer, a *advice.Advice) string {
	t.Helper()
	w, err := wire.FromAdvice(a)
	if err != nil {
		t.Fatal(err)
	}
	return w.Approval.Digest
}

func (x *table) payload(a *advice.Advice, v wire.Verdict, covers string) []byte {
	x.t.Helper()
	if covers != "" {
		covers = `,"covers":` + covers
	}
	return fmt.Appendf(nil, `{"advice":%q,"digest":%q,"decision":%q,"by":"ana","note":"n"%s}`, a.ID, digestOf(x.t, a), v, covers)
}

// again is the same decision, made anew.
func again(payload []byte) []byte {
	return bytes.Replace(payload, []byte(`"note":"n"`), []byte(`"note":"once more"`), 1)
}

// decide sends a decision and wants its refusal code, "" for accepted.
func (x *table) decide(a *advice.Advice, v wire.Verdict, covers string, now time.Time, want wire.Refusal) Outcome {
	x.t.Helper()
	o := x.Decide(x.payload(a, v, covers), now)
	got := wire.Refusal("")
	if o.Result.Reason != nil {
		got = wire.Refusal(o.Result.Reason.Code)
	}
	if got != want {
		x.t.Fatalf("%s of %s at %s: refused with %q (%v), want %q", v, a.ID, clock(now), got, o.Result.Reason, want)
	}
	return o
}

// inForce wants the id on the setpoint topics at now, "" for cleared ones.
func (x *table) wantSetpoint(now time.Time, want string) {
	x.t.Helper()
	x.Tick(now)
	messages, err := x.Publications(topics, now)
	if err != nil {
		x.t.Fatal(err)
	}
	got := ""
	for _, m := range messages {
		if !m.Retain || m.QoS != 1 {
			x.t.Errorf("%s: retain %v, QoS %d; want retained, QoS 1", m.Topic, m.Retain, m.QoS)
		}
		if m.Topic == topics.Setpoint("bench-07") && m.Payload != nil {
			s, err := wire.ParseSetpoint(m.Payload)
			if err != nil {
				x.t.Fatal(err)
			}
			got = s.Advice
		}
		if want == "" && strings.Contains(m.Topic, "/setpoint") && len(m.Payload) > 0 {
			x.t.Errorf("%s holds %s; want it cleared", m.Topic, m.Payload)
		}
	}
	if got != want {
		x.t.Fatalf("at %s %q is on setpoint, want %q", clock(now), got, want)
	}
}

func (x *table) wantStates(want string) {
	x.t.Helper()
	var got []string
	for _, e := range x.entries {
		got = append(got, e.advice.ID[len("ADVICE"):]+" "+string(e.advice.Approval.State))
	}
	if diff := cmp.Diff(want, strings.Join(got, ", ")); diff != "" {
		x.t.Fatalf("states (-want +got):\n%s", diff)
	}
}

const day = 24 * time.Hour

// TestHandover: yesterday's advice stays in force while the next is pending,
// and the next takes over when the older has no shot left.
func TestHandover(t *testing.T) {
	x := newTable(t)
	today, tomorrow := plan(1, morning), plan(2, morning.Add(day))
	x.propose(today, morning.Add(-12*time.Hour))
	x.wantSetpoint(morning.Add(-12*time.Hour), "")
	x.decide(today, wire.Approve, "", morning.Add(-11*time.Hour), "")
	x.wantSetpoint(morning.Add(-11*time.Hour), today.ID) // nothing older: at once
	x.propose(tomorrow, morning.Add(5*time.Hour))
	x.wantSetpoint(morning.Add(5*time.Hour), today.ID)
	x.decide(tomorrow, wire.Approve, "", morning.Add(6*time.Hour), "")
	x.wantSetpoint(morning.Add(6*time.Hour), today.ID)
	x.wantSetpoint(morning.Add(10*time.Hour-time.Second), today.ID)
	if due := x.NextDue(morning.Add(6 * time.Hour)); !due.Equal(morning.Add(10 * time.Hour)) {
		t.Errorf("next due %s, want the last shot of today", clock(due))
	}
	x.wantSetpoint(morning.Add(10*time.Hour), tomorrow.ID)
	x.wantStates("0001 superseded, 0002 approved")
	x.wantSetpoint(morning.Add(2*day-time.Second), tomorrow.ID)
	x.wantSetpoint(morning.Add(2*day), "")
	x.wantStates("0001 superseded, 0002 expired")
}

// TestHandoverAtValidFrom: an older advice with shots left gives way when the
// newer one becomes valid, as a replacement in the middle of the day is.
func TestHandoverAtValidFrom(t *testing.T) {
	x := newTable(t)
	whole, rest := plan(1, morning), plan(2, morning)
	rest.ValidFrom, rest.Setpoints.FirstShotAt, rest.DecideBy = morning.Add(4*time.Hour), morning.Add(5*time.Hour), morning.Add(4*time.Hour+50*time.Minute)
	rest.Setpoints.Schedule = rest.Setpoints.Schedule[4:]
	x.propose(whole, morning.Add(-time.Hour))
	x.decide(whole, wire.Approve, "", morning.Add(-time.Minute), "")
	x.propose(rest, morning.Add(3*time.Hour))
	x.wantSetpoint(morning.Add(3*time.Hour), whole.ID) // pending: the approved one stays
	x.decide(rest, wire.Approve, "", morning.Add(3*time.Hour+time.Minute), "")
	x.wantSetpoint(morning.Add(3*time.Hour+time.Minute), whole.ID)
	x.wantSetpoint(morning.Add(4*time.Hour), rest.ID)
	x.wantStates("0001 superseded, 0002 approved")
}

// TestReplacedWhilePending: a pending advice is superseded by the next, and an
// approved one that waits its turn is superseded only once its replacement is
// approved.
func TestReplacedWhilePending(t *testing.T) {
	x := newTable(t)
	tomorrow := morning.Add(day)
	a, b, c, d := plan(1, morning), plan(2, tomorrow), plan(3, tomorrow), plan(4, tomorrow)
	noon := morning.Add(6 * time.Hour)
	x.propose(a, morning.Add(-time.Hour))
	x.decide(a, wire.Approve, "", morning.Add(-time.Minute), "")
	x.propose(b, noon)
	x.decide(b, wire.Approve, "", noon, "")
	x.propose(c, noon.Add(time.Minute))
	x.propose(d, noon.Add(2*time.Minute))
	x.wantStates("0001 approved, 0002 approved, 0003 superseded, 0004 pending")
	x.decide(c, wire.Approve, "", noon.Add(3*time.Minute), wire.NotPending)
	x.decide(d, wire.Approve, "", noon.Add(3*time.Minute), "")
	x.wantStates("0001 approved, 0002 superseded, 0003 superseded, 0004 approved")
	x.wantSetpoint(noon.Add(4*time.Minute), a.ID)
	x.wantSetpoint(morning.Add(10*time.Hour), d.ID)
}

// TestRejectedLeavesTheApproved: a person who rejects tomorrow's plan does not
// end today's.
func TestRejectedLeavesTheApproved(t *testing.T) {
	x := newTable(t)
	a, b := plan(1, morning), plan(2, morning.Add(day))
	x.propose(a, morning.Add(-time.Hour))
	x.decide(a, wire.Approve, "", morning.Add(-time.Minute), "")
	x.propose(b, morning.Add(5*time.Hour))
	x.decide(b, wire.Reject, "", morning.Add(6*time.Hour), "")
	x.decide(b, wire.Approve, "", morning.Add(6*time.Hour), wire.NotPending)
	x.wantSetpoint(morning.Add(6*time.Hour), a.ID)
	x.wantSetpoint(morning.Add(day), "")
}

// TestWithdrawnByDay: withdrawing during the day clears the setpoints for the
// rest of it: tomorrow's, approved and waiting, would keep the crop dry today.
func TestWithdrawnByDay(t *testing.T) {
	x := newTable(t)
	a, b := plan(1, morning), plan(2, morning.Add(day))
	x.propose(a, morning.Add(-time.Hour))
	x.decide(a, wire.Approve, "", morning.Add(-time.Minute), "")
	x.propose(b, morning.Add(4*time.Hour))
	x.decide(b, wire.Approve, "", morning.Add(4*time.Hour), "")
	x.decide(a, wire.Withdraw, "", morning.Add(5*time.Hour), "")
	x.wantSetpoint(morning.Add(5*time.Hour), "")
	if due := x.NextDue(morning.Add(5 * time.Hour)); !due.Equal(morning.Add(10 * time.Hour)) {
		t.Errorf("next due %s, want when today's shots would have ended", clock(due))
	}
	x.wantSetpoint(morning.Add(10*time.Hour), b.ID)
	if o := x.Decide(again(x.payload(a, wire.Withdraw, "")), morning.Add(11*time.Hour)); o.Result.Reason == nil || o.Result.Reason.Code != string(wire.NotPending) {
		t.Errorf("another withdrawal of it gave %+v, want %s", o.Result, wire.NotPending)
	}
}

// TestWithdrawnTomorrow: withdrawing what waits does not touch what is in force
// nor hold up its replacement.
func TestWithdrawnTomorrow(t *testing.T) {
	x := newTable(t)
	a, b, c := plan(1, morning), plan(2, morning.Add(day)), plan(3, morning.Add(day))
	x.propose(a, morning.Add(-time.Hour))
	x.decide(a, wire.Approve, "", morning.Add(-time.Minute), "")
	x.propose(b, morning.Add(4*time.Hour))
	x.decide(b, wire.Approve, "", morning.Add(4*time.Hour), "")
	x.decide(b, wire.Withdraw, "", morning.Add(5*time.Hour), "")
	x.wantSetpoint(morning.Add(5*time.Hour), a.ID)
	x.propose(c, morning.Add(6*time.Hour))
	x.decide(c, wire.Approve, "", morning.Add(6*time.Hour), "")
	x.wantSetpoint(morning.Add(10*time.Hour), c.ID)
}

// TestExpires: what nobody decides expires, and says so to who comes late.
func TestExpires(t *testing.T) {
	x := newTable(t)
	a := plan(1, morning)
	x.propose(a, morning.Add(-12*time.Hour))
	if due := x.NextDue(morning.Add(-12 * time.Hour)); !due.Equal(a.DecideBy) {
		t.Errorf("next due %s, want decide_by %s", clock(due), clock(a.DecideBy))
	}
	late := a.DecideBy
	o := x.decide(a, wire.Approve, "", late, wire.Expired)
	if len(o.Changes.Moves) != 1 || o.Changes.Moves[0].To != policy.StateExpired {
		t.Errorf("a decision at decide_by made moves %+v, want the expiry", o.Changes.Moves)
	}
	x.wantSetpoint(late, "")
}

// TestInspectHasNothingToApprove: an inspect is published without an approval
// and clears nothing that was approved.
func TestInspectHasNothingToApprove(t *testing.T) {
	x := newTable(t)
	a, look := plan(1, morning), inspect(2, morning.Add(day))
	x.propose(a, morning.Add(-time.Hour))
	x.decide(a, wire.Approve, "", morning.Add(-time.Minute), "")
	ch := x.propose(look, morning.Add(5*time.Hour))
	if len(ch.Moves) != 0 || len(ch.Advice) != 1 || ch.Advice[0].Advice.Approval.Required {
		t.Errorf("an inspect made changes %+v, want one record and no move", ch)
	}
	o := x.Decide(fmt.Appendf(nil, `{"advice":%q,"digest":"sha-256:%064d","decision":"approve","by":"ana"}`, look.ID, 0), morning.Add(6*time.Hour))
	if o.Result.Reason == nil || o.Result.Reason.Code != string(wire.NotPending) {
		t.Errorf("approving an inspect gave %+v, want %s", o.Result, wire.NotPending)
	}
	x.wantSetpoint(morning.Add(6*time.Hour), a.ID)
}

// TestProposedAgain: an engine that goes on from an older snapshot issues the
// same advice again; that is no news. The same id with other content is.
func TestProposedAgain(t *testing.T) {
	x := newTable(t)
	a := plan(1, morning)
	x.propose(a, morning.Add(-12*time.Hour))
	x.decide(a, wire.Approve, "", morning.Add(-11*time.Hour), "")
	if ch := x.propose(a, morning.Add(-10*time.Hour)); !ch.Empty() {
		t.Errorf("proposing again changed %+v", ch)
	}
	other := plan(1, morning)
	other.Setpoints.ShotVolumeML = 160
	if _, err := x.Propose(other, morning.Add(-10*time.Hour)); err == nil {
		t.Error("other content under a known id was taken")
	}
	x.wantSetpoint(morning.Add(-9*time.Hour), a.ID)
}

// TestRefusals: each code, once, with nothing changed.
func TestRefusals(t *testing.T) {
	a, b := plan(1, morning), plan(2, morning)
	approved := func(x *table) { x.decide(a, wire.Approve, "", morning.Add(-11*time.Hour), "") }
	closed := func(x *table) { x.rules = &Rules{Location: local} }
	far := fmt.Sprintf(`{"until":%q,"max_volume_ml":2000,"max_shot_ml":200,"earliest_shot":"05:00","latest_shot":"20:00"}`, clock(morning.Add(9*day)))
	past := strings.Replace(far, clock(morning.Add(9*day)), clock(morning.Add(-day)), 1)
	for _, c := range []struct {
		name    string
		before  func(*table)
		payload []byte
		want    wire.Refusal
		text    string
	}{
		{"empty", nil, nil, wire.Malformed, "not a JSON object"},
		{"no verdict", nil, fmt.Appendf(nil, `{"advice":%q,"digest":%q,"decision":"yes","by":"ana"}`, a.ID, digestOf(t, a)), wire.Malformed, "expected approve, reject or withdraw"},
		{"another advice", nil, newTable(t).payload(b, wire.Approve, ""), wire.UnknownAdvice, "the one that stands there is " + a.ID},
		{"another digest", nil, fmt.Appendf(nil, `{"advice":%q,"digest":%q,"decision":"approve","by":"ana"}`, a.ID, digestOf(t, b)), wire.WrongDigest, "as it is published now"},
		{"approved already", approved, again(newTable(t).payload(a, wire.Approve, "")), wire.NotPending, "was approved already, by ana on 3 May 19:00"},
		{"rejected when approved", approved, newTable(t).payload(a, wire.Reject, ""), wire.NotPending, "was approved already, by ana on 3 May 19:00"},
		{"withdrawn when pending", nil, newTable(t).payload(a, wire.Withdraw, ""), wire.NotPending, "reject it instead"},
		{"covers not allowed", closed, newTable(t).payload(a, wire.Approve, far), wire.NotAllowed, "approval.standing.allowed"},
		{"covers too far", nil, newTable(t).payload(a, wire.Approve, far), wire.NotAllowed, "7 days"},
		{"covers ended", nil, newTable(t).payload(a, wire.Approve, past), wire.NotAllowed, "it is 3 May 20:00 already"},
		{"signed for nobody", nil, []byte("e30.e30.e30"), wire.UnknownDecider, "lists nobody's key"},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := newTable(t)
			x.propose(a, morning.Add(-12*time.Hour))
			if c.before != nil {
				c.before(x)
			}
			before := x.Clone()
			o := x.Decide(c.payload, morning.Add(-10*time.Hour))
			if o.Result.Result != wire.Refused || o.Result.Reason.Code != string(c.want) || !strings.Contains(o.Result.Reason.Text, c.text) {
				t.Errorf("got %+v %+v, want %s with %q", o.Result, o.Result.Reason, c.want, c.text)
			}
			if len(o.Changes.Moves)+len(o.Changes.Advice)+len(o.Changes.Covers) > 0 {
				t.Errorf("a refused decision changed %+v", o.Changes)
			}
			if diff := cmp.Diff(before, x.Desk, cmp.AllowUnexported(Desk{}, entry{}), cmpopts.IgnoreTypes(refusals{}), cmp.Comparer(func(a, b *time.Location) bool { return a == b })); diff != "" {
				t.Errorf("a refused decision moved the desk:\n%s", diff)
			}
		})
	}
}

// TestUnrecorded: what the ledger could not take is answered so, and names what
// was decided.
func TestUnrecorded(t *testing.T) {
	x := newTable(t)
	a := plan(1, morning)
	x.propose(a, morning.Add(-12*time.Hour))
	tried := x.Clone()
	o := tried.Decide(x.payload(a, wire.Approve, ""), morning.Add(-11*time.Hour))
	r := o.Unrecorded(morning)
	if r.Result != wire.Refused || r.Reason.Code != string(wire.LedgerUnavailable) || r.Advice != a.ID {
		t.Errorf("got %+v", r)
	}
	x.wantStates("0001 pending") // the clone moved, the desk did not
	x.wantSetpoint(morning.Add(-11*time.Hour), "")
}

// TestExpiryUnrecorded: where the ledger is full and the desk cannot move, what
// is past its validity still leaves the setpoint topics.
func TestExpiryUnrecorded(t *testing.T) {
	x := newTable(t)
	a := plan(1, morning)
	x.propose(a, morning.Add(-time.Hour))
	x.decide(a, wire.Approve, "", morning.Add(-time.Minute), "")
	if got := x.Approvals(); len(got) != 1 || got[0] != (policy.Approval{Advice: a.ID, State: policy.StateApproved, Note: "n"}) {
		t.Errorf("approvals %+v", got)
	}
	for now, want := range map[time.Time]bool{morning.Add(day - time.Second): true, morning.Add(day): false} {
		if got := x.InForce(now) != nil; got != want { // with no Tick before
			t.Errorf("at %s in force: %v, want %v", clock(now), got, want)
		}
	}
}

// TestForgets: a desk does not grow with the advice it has seen.
func TestForgets(t *testing.T) {
	x := newTable(t)
	forgotten := 0
	for n := range 20 {
		ch := x.propose(plan(n, morning.Add(day)), morning.Add(time.Duration(n)*time.Minute))
		forgotten += len(ch.Forgotten)
	}
	if len(x.entries) != 1+keepClosed || forgotten != 20-len(x.entries) {
		t.Errorf("after 20 advice the desk holds %d and forgot %d, want %d and %d", len(x.entries), forgotten, 1+keepClosed, 20-1-keepClosed)
	}
	for _, e := range x.entries[:len(x.entries)-1] {
		if e.advice.Setpoints != nil || e.advice.Reasons != nil {
			t.Errorf("closed advice %s still holds its setpoints", e.advice.ID)
		}
	}
}

// An inspect that nobody need follow any more stands with the end of its validity, and is
// recorded so; an advice that people decide on cannot be ended that way.
func TestAnInspectIsOver(t *testing.T) {
	d := New("north", "bench-07", &Rules{Location: time.UTC})
	from := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	look := &advice.Advice{ID: "look", Site: "north", Zone: "bench-07", IssuedAt: from, ValidFrom: from, ValidUntil: from.Add(20 * time.Hour),
		Action: advice.Inspect, Reasons: advice.InspectQuorum(0, 1, "p1"), Confidence: 1}
	if _, err := d.Propose(look, from); err != nil {
		t.Fatal(err)
	}
	now := from.Add(time.Hour)
	ch := d.Over("look", now)
	if len(ch.Advice) != 1 || !ch.Advice[0].Advice.ValidUntil.Equal(now) || !d.Standing().ValidUntil.Equal(now) {
		t.Errorf("on record %+v; it stands until %v, expected %v", ch.Advice, d.Standing().ValidUntil, now)
	}
	if ch := d.Over("look", now.Add(time.Minute)); len(ch.Advice) != 0 {
		t.Error("it was over twice")
	}
	if ch := d.Over("nothing", now); len(ch.Advice) != 0 {
		t.Error("what is unknown was ended")
	}
}
