package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
)

// In a long daytime the running day may want water once tomorrow's plan is out, and the
// question for it takes tomorrow's plan back, decided on or not. Nobody is asked for tomorrow
// again before the question for today is answered or over, and then somebody is: else
// tomorrow would have no plan at all.
func TestTomorrowIsPlannedAgainAfterAQuestionForToday(t *testing.T) {
	for name, c := range map[string]struct {
		tomorrow, today ApprovalState // what people make of the plans
	}{
		"nobody decides":    {StatePending, StateExpired},
		"today is approved": {StatePending, StateApproved},
		"both are approved": {StateApproved, StateApproved},
	} {
		s := bench()
		s.Day.End = DayMark{AfterMidnight: 24*time.Hour - time.Minute}
		z, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		var take func(*advice.Advice, time.Time)
		tell := func(at time.Time, id string, state ApprovalState) {
			out := z.Step(Event{Kind: Approved, At: at, Approval: &Approval{Advice: id, State: state}})
			take(out.Advice, at)
		}
		var asked []*advice.Advice
		waits, approved, answer := "", "", time.Time{} // of tomorrow's, and when that of today is answered
		second := monday.Add(24 * time.Hour)
		take = func(a *advice.Advice, at time.Time) {
			if a == nil || a.Action == advice.Inspect {
				return
			}
			if waits != "" { // as the desk does: one advice waits for a person
				tell(at, waits, StateSuperseded)
			}
			waits = a.ID
			tell(at, a.ID, StatePending)
			today := a.ValidFrom.Before(second.Add(12 * time.Hour))
			switch {
			case at.Before(second): // the first day's plans stand
				tell(at, a.ID, StateApproved)
				waits = ""
				return
			case today:
				answer = a.DecideBy.Add(-time.Minute)
			case c.tomorrow == StateApproved:
				tell(at, a.ID, c.tomorrow)
				waits, approved = "", a.ID
			}
			asked = append(asked, a)
		}
		wake, level := time.Time{}, z.ground.band.FullPoint+0.02
		for m := 8 * 60; m < 46*60; m += 5 {
			at := monday.Add(time.Duration(m) * time.Minute)
			for !wake.IsZero() && wake.Before(at) {
				now := wake
				out := z.Step(Event{Kind: Wake, At: now})
				wake = out.NextWake
				take(out.Advice, now)
			}
			if !answer.IsZero() && !at.Before(answer) {
				id := waits
				answer, waits = time.Time{}, ""
				tell(at, id, c.today)
				if approved != "" && c.today == StateApproved {
					tell(at, approved, StateSuperseded) // as the desk does: one approved advice stands
				}
			}
			if m >= 41*60 {
				level = max(level-0.009, 0.21)
			}
			for k := range z.settings.Probes {
				e := Event{Kind: Reading, At: at, Stamp: at, Source: k}
				e.Values.Set(sensing.WaterContent, z.ground.tables[k].Reading(level))
				out := z.Step(e)
				wake = out.NextWake
				take(out.Advice, at)
			}
		}
		if len(asked) != 3 {
			for _, a := range asked {
				t.Logf("%s %s for %s", a.IssuedAt.Format("02 15:04"), a.Action, a.ValidFrom.Format("02 15:04"))
			}
			t.Fatalf("%s: %d advices on the second day; expected tomorrow's, today's and tomorrow's again", name, len(asked))
		}
		today, again := asked[1], asked[2]
		if !asked[0].ValidFrom.After(today.ValidFrom) || !again.ValidFrom.Equal(asked[0].ValidFrom) {
			t.Errorf("%s: asked for %s, %s and %s", name, asked[0].ValidFrom, today.ValidFrom, again.ValidFrom)
		}
		if open := again.IssuedAt.Sub(today.IssuedAt); open < today.DecideBy.Sub(today.IssuedAt)-5*time.Minute {
			t.Errorf("%s: the question for today stood for %v; it could be decided until %s", name, open, today.DecideBy.Format("15:04"))
		}
	}
}
