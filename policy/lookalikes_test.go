package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/diagnose"
)

// A fault that a spanner mends is asked to be looked at, once for each trouble,
// and never while a person has something else to decide.
func TestInspectIsAskedOncePerTrouble(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	at := monday.UnixMilli()
	z.elapse(at)
	sick := func(cause diagnose.Cause, since int64) {
		z.out = Output{}
		z.m.Diagnosis.Belief = diagnose.Belief{AtMs: since, SinceMs: since}
		z.m.Diagnosis.Belief.LogOdds[cause] = 9
		z.m.Diagnosis.Fast.Shots.Lost, z.m.Diagnosis.Fast.Shots.LostMs = 3, at // what speaks for it
	}
	asked := func() bool { z.inspectHardware(at); return z.out.Advice != nil }

	sick(diagnose.Compaction, at)
	if asked() {
		t.Error("no spanner mends compaction")
	}
	z.plans = []planned{{Advice: &advice.Advice{Action: advice.Irrigate, ValidUntil: monday.Add(24 * time.Hour)}, State: StatePending}}
	sick(diagnose.ValveStuckClosed, at)
	if asked() {
		t.Error("asked while a person had something to decide")
	}
	z.plans[0].State = StateApproved
	if !asked() {
		t.Fatal("a closed valve was not told")
	}
	a := z.out.Advice
	if a.Action != advice.Inspect || a.Setpoints != nil || len(a.Reasons) < 2 || a.Reasons[0].Code != "inspect-cause" || a.Reasons[1].Code != "look-valve" {
		t.Errorf("%+v", a)
	}
	if z.out = (Output{}); asked() {
		t.Error("asked twice for one trouble")
	}
	sick(diagnose.EmitterFault, at+1)
	if !asked() {
		t.Error("another trouble was not told")
	}
}
