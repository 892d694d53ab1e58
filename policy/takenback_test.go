package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
)

// A plan that waits is taken back by an advice to look at silent probes. Once they are back
// the day wants a plan again.
func TestTheDayIsPlannedAgainAfterASilence(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	var asked []*advice.Advice
	waits := ""
	wake := time.Time{}
	var step func(e Event)
	step = func(e Event) {
		out := z.Step(e)
		wake = out.NextWake
		if a := out.Advice; a != nil {
			asked = append(asked, a)
			if waits != "" { // as the desk does: one advice stands
				old := waits
				waits = ""
				step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: old, State: StateSuperseded}})
			}
			if a.Action != advice.Inspect {
				waits = a.ID
				step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: a.ID, State: StatePending}})
			}
		}
	}
	level := z.ground.band.FullPoint - 0.05
	for m := 0; m < 23*60; m += 5 {
		at := monday.Add(time.Duration(m) * time.Minute)
		for !wake.IsZero() && wake.Before(at) {
			step(Event{Kind: Wake, At: wake})
		}
		level -= 0.0002
		if m >= 18*60+10 && m < 20*60 { // the gateway is away
			continue
		}
		for k := range z.settings.Probes {
			e := Event{Kind: Reading, At: at, Stamp: at, Source: k}
			e.Values.Set(sensing.WaterContent, z.ground.tables[k].Reading(level))
			step(e)
		}
	}
	last := asked[len(asked)-1]
	if len(asked) < 3 || asked[len(asked)-2].Action != advice.Inspect || last.Action == advice.Inspect {
		t.Fatalf("%d advices, the last %s of %s; expected a plan after the one to look", len(asked), last.Action, last.IssuedAt.Format("15:04"))
	}
	if want := monday.Add(20*time.Hour + 15*time.Minute); last.IssuedAt.After(want) {
		t.Errorf("the plan came at %s; expected it by %s, once the probes were back", last.IssuedAt.Format("15:04"), want.Format("15:04"))
	}
	if !last.ValidFrom.Equal(asked[len(asked)-3].ValidFrom) {
		t.Errorf("the plan is for %s, the one that was taken back for %s", last.ValidFrom, asked[len(asked)-3].ValidFrom)
	}
}
