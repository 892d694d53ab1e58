package desk

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// limits are covers that plan fits into, until so many days in.
func limits(days int) string {
	return fmt.Sprintf(`{"until":%q,"max_volume_ml":1800,"max_shot_ml":200,"earliest_shot":"06:30","latest_shot":"16:30"}`,
		clock(morning.Add(time.Duration(days)*day)))
}

// coveredTable has today approved with covers, just before the day.
func coveredTable(t *testing.T) (*table, *advice.Advice) {
	x := newTable(t)
	a := plan(1, morning)
	x.propose(a, morning.Add(-time.Hour))
	x.decide(a, wire.Approve, limits(5), morning.Add(-time.Minute), "")
	return x, a
}

// TestCovered: later advice is approved at once inside the limits, and each
// limit asks again when it is passed.
func TestCovered(t *testing.T) {
	tomorrow := morning.Add(day)
	for _, c := range []struct {
		name   string
		change func(*advice.Advice)
		want   policy.ApprovalState
	}{
		{"inside", func(*advice.Advice) {}, policy.StateApproved},
		{"at the limits", func(a *advice.Advice) {
			a.Setpoints.MaxVolumeML, a.Setpoints.ShotVolumeML = 1800, 200
			a.Setpoints.FirstShotAt = tomorrow.Add(30 * time.Minute) // 06:30 local
			a.Setpoints.LastShotBy = tomorrow.Add(10*time.Hour + 30*time.Minute)
		}, policy.StateApproved},
		{"more a day", func(a *advice.Advice) { a.Setpoints.MaxVolumeML = 1801 }, policy.StatePending},
		{"a larger shot", func(a *advice.Advice) { a.Setpoints.ShotVolumeML = 201 }, policy.StatePending},
		{"a larger shot in the schedule", func(a *advice.Advice) { a.Setpoints.Schedule[3].VolumeML = 201 }, policy.StatePending},
		{"a schedule of more", func(a *advice.Advice) {
			for i := range a.Setpoints.Schedule {
				a.Setpoints.Schedule[i].VolumeML = 200
			}
			a.Setpoints.Schedule = append(a.Setpoints.Schedule, a.Setpoints.Schedule[8])
		}, policy.StatePending},
		{"too early", func(a *advice.Advice) { a.Setpoints.FirstShotAt = tomorrow.Add(29 * time.Minute) }, policy.StatePending},
		{"too late", func(a *advice.Advice) { a.Setpoints.LastShotBy = tomorrow.Add(10*time.Hour + 31*time.Minute) }, policy.StatePending},
		{"seconds too late", func(a *advice.Advice) {
			a.Setpoints.LastShotBy = tomorrow.Add(10*time.Hour + 30*time.Minute + time.Second)
		}, policy.StatePending},
		{"a shot of the schedule too late", func(a *advice.Advice) { a.Setpoints.Schedule[8].At = tomorrow.Add(11 * time.Hour) }, policy.StatePending},
		{"shots over two days", func(a *advice.Advice) { a.Setpoints.LastShotBy = tomorrow.Add(day + 2*time.Hour) }, policy.StatePending},
		{"a night between the first shot and the last", func(a *advice.Advice) {
			a.Setpoints.FirstShotAt = tomorrow.Add(10 * time.Hour)                  // 16:00 local
			a.Setpoints.LastShotBy = tomorrow.Add(day + time.Hour - 10*time.Minute) // 06:50 local, the day after
			a.Setpoints.Schedule = nil
		}, policy.StatePending},
		{"another action", func(a *advice.Advice) { a.Action = advice.Leach }, policy.StatePending},
		{"withhold", func(a *advice.Advice) { *a = *withhold(2, tomorrow) }, policy.StatePending},
	} {
		t.Run(c.name, func(t *testing.T) {
			x, first := coveredTable(t)
			a := plan(2, tomorrow)
			c.change(a)
			ch := x.propose(a, morning.Add(12*time.Hour))
			s := x.Standing().Approval
			if s.State != c.want {
				t.Fatalf("the advice is %s, want %s", s.State, c.want)
			}
			if c.want != policy.StateApproved {
				return
			}
			if s.Under != first.ID || s.By != "ana" {
				t.Errorf("approved under %q by %q, want %q by ana", s.Under, s.By, first.ID)
			}
			if m := ch.Moves[0]; m.From != "" || m.To != policy.StateApproved || m.Under != first.ID {
				t.Errorf("first move %+v, want the approval under %s", m, first.ID)
			}
			x.wantSetpoint(morning.Add(12*time.Hour), a.ID) // today's last shot is past
		})
	}
}

// TestCoverEnds: past its end the standing approval covers nothing, not even
// shots of an advice that begins before.
func TestCoverEnds(t *testing.T) {
	x, _ := coveredTable(t)
	x.propose(plan(2, morning.Add(4*day+20*time.Hour)), morning.Add(4*day)) // its shots lie past the end
	if s := x.Standing().Approval.State; s != policy.StatePending {
		t.Errorf("advice with shots past the end is %s", s)
	}
	ch := x.Tick(morning.Add(5 * day))
	if len(ch.Covers) != 1 || ch.Covers[0].Live || x.Cover() != nil {
		t.Errorf("at its end the standing approval gave %+v", ch.Covers)
	}
	x.propose(plan(3, morning.Add(6*day)), morning.Add(5*day))
	if s := x.Standing().Approval.State; s != policy.StatePending {
		t.Errorf("advice after the end is %s", s)
	}
}

// TestCoverWithdrawn: withdrawing the decision, or any advice under it, ends the
// standing approval and takes back all that it approved.
func TestCoverWithdrawn(t *testing.T) {
	for _, name := range []string{"by the covering advice", "by the covered one"} {
		t.Run(name, func(t *testing.T) {
			x, first := coveredTable(t)
			second := plan(2, morning.Add(day))
			x.propose(second, morning.Add(5*time.Hour))
			named := first
			if strings.HasSuffix(name, "covered one") {
				named = second
			}
			o := x.decide(named, wire.Withdraw, "", morning.Add(6*time.Hour), "")
			if x.Cover() != nil || len(o.Changes.Covers) != 1 || o.Changes.Covers[0].EndedBy != "ana" {
				t.Errorf("the standing approval goes on: %+v", o.Changes.Covers)
			}
			x.wantStates("0001 withdrawn, 0002 withdrawn")
			x.wantSetpoint(morning.Add(6*time.Hour), "")
		})
	}
}

// TestCoverWithdrawnLongAfter: the decision can be named by its advice when the
// desk has long forgotten that.
func TestCoverWithdrawnLongAfter(t *testing.T) {
	x, first := coveredTable(t)
	for n := 2; n < 9; n++ {
		last := plan(n, morning.Add(3*day))
		last.Setpoints.DrainFraction = float64(n) / 100
		x.propose(last, morning.Add(2*day+time.Duration(n)*time.Minute))
	}
	if x.find(first.ID) != nil {
		t.Fatal("the first advice is still held: this test shows nothing")
	}
	now := morning.Add(2*day + time.Hour)
	x.wantSetpoint(now, "ADVICE0002") // the last of them waits for its turn
	wrong := plan(1, morning)
	wrong.Setpoints.ShotVolumeML = 1
	x.decide(wrong, wire.Withdraw, "", now, wire.WrongDigest)
	x.decide(first, wire.Reject, "", now, wire.UnknownAdvice)
	x.decide(first, wire.Withdraw, "", now, "")
	x.wantSetpoint(now, "")
	x.decide(first, wire.Withdraw, "", now, wire.UnknownAdvice)
}

// TestCoverForbiddenLater: a reloaded site file that no longer allows standing
// approvals stops them for new advice.
func TestCoverForbiddenLater(t *testing.T) {
	x, _ := coveredTable(t)
	x.SetRules(&Rules{Location: local})
	x.propose(plan(2, morning.Add(day)), morning.Add(12*time.Hour))
	if s := x.Standing().Approval.State; s != policy.StatePending {
		t.Errorf("advice is %s under a standing approval that is no longer allowed", s)
	}
}

// TestCoverOfSomebodyWhoMayNotApprove: a standing approval covers only what the
// one who gave it may still approve.
func TestCoverOfSomebodyWhoMayNotApprove(t *testing.T) {
	every, approve := []string{"*"}, []wire.Verdict{wire.Approve}
	for _, c := range []struct {
		name     string
		deciders []Decider
		want     policy.ApprovalState
	}{
		{"nobody is listed", nil, policy.StateApproved},
		{"listed still", []Decider{{Name: "bob", Zones: every, May: approve}, {Name: "ana", Zones: every, May: approve}}, policy.StateApproved},
		{"taken from the list", []Decider{{Name: "bob", Zones: every, May: approve}}, policy.StatePending},
		{"of other zones now", []Decider{{Name: "ana", Zones: []string{"bench-08"}, May: approve}}, policy.StatePending},
		{"may only reject now", []Decider{{Name: "ana", Zones: every, May: []wire.Verdict{wire.Reject}}}, policy.StatePending},
	} {
		t.Run(c.name, func(t *testing.T) {
			x, _ := coveredTable(t) // given by ana
			rules := openRules()
			rules.Deciders = c.deciders
			x.SetRules(rules)
			x.propose(plan(2, morning.Add(day)), morning.Add(12*time.Hour))
			if s := x.Standing().Approval; s.State != c.want {
				t.Errorf("advice is %s, want %s", s.State, c.want)
			}
		})
	}
}
