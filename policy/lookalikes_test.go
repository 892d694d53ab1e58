package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/diagnose"
)

// A fault that a spanner mends is asked to be looked at, once a day while it lasts,
// and never while a person has something else to decide.
func TestInspectIsAskedOnceADay(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	at := monday.UnixMilli()
	z.elapse(at)
	sick := func(cause diagnose.Cause, since int64) {
		z.scratch.out = Output{}
		z.m.Diagnosis.Belief = diagnose.Belief{AtMs: since, SinceMs: since}
		z.m.Diagnosis.Belief.LogOdds[cause] = 9
		z.m.Diagnosis.Fast.Shots.Lost, z.m.Diagnosis.Fast.Shots.LostMs = 3, at // what speaks for it
	}
	asked := func() bool { z.inspectHardware(at); return z.scratch.out.Advice != nil }

	sick(diagnose.Compaction, at)
	if asked() {
		t.Error("no spanner mends compaction")
	}
	z.plans = []planned{{Advice: remembered{Action: advice.Irrigate, ValidUntil: monday.Add(24 * time.Hour)}, State: StatePending}}
	sick(diagnose.ValveStuckClosed, at)
	if asked() {
		t.Error("asked while a person had something to decide")
	}
	z.plans[0].State = StateApproved
	if !asked() {
		t.Fatal("a closed valve was not told")
	}
	a := z.scratch.out.Advice
	if a.Action != advice.Inspect || a.Setpoints != nil || len(a.Reasons) < 2 || a.Reasons[0].Code != "inspect-cause" || a.Reasons[1].Code != "look-valve" {
		t.Errorf("%+v", a)
	}
	if z.scratch.out = (Output{}); asked() {
		t.Error("asked twice for one trouble")
	}
	z.m.Diagnosis.AskedMs -= askEvery.Milliseconds()
	if z.scratch.out = (Output{}); !asked() {
		t.Error("a trouble that lasts was not asked about again a day later")
	}
	sick(diagnose.EmitterFault, at+1)
	if !asked() {
		t.Error("another trouble was not told")
	}
}

// No cause, however sure, makes a plan of more water: the same evening is planned
// with nothing wrong and with each cause believed.
func TestADiagnosisNeverRaisesWater(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	evening := monday.Add(5*24*time.Hour + 17*time.Hour + 59*time.Minute)
	var snapshot []byte
	play(t, z, monday, 6, nil, func(at time.Time, _ Output) {
		if snapshot == nil && !at.Before(evening) {
			evening, snapshot = at, z.Snapshot()
		}
	})
	plan := func(sick func(*diagnose.Memory)) *advice.Advice {
		t.Helper()
		z, err := Restore(bench(), snapshot)
		if err != nil {
			t.Fatal(err)
		}
		sick(&z.m.Diagnosis)
		wake := evening
		for n := 0; n < 100 && wake.Before(evening.Add(time.Hour)); n++ {
			out := z.Step(Event{Kind: Wake, At: wake})
			if out.Advice != nil && out.Advice.Setpoints != nil {
				return out.Advice
			}
			wake = out.NextWake
		}
		t.Fatal("no plan for the next day was issued")
		return nil
	}
	sound := plan(func(*diagnose.Memory) {}).Setpoints
	if sound.MaxVolumeML == 0 || len(sound.Schedule) == 0 {
		t.Fatalf("the sound zone's plan gives no water: %+v", sound)
	}
	usual := 0
	for _, shot := range sound.Schedule {
		usual += shot.VolumeML
	}
	for c := range diagnose.Cause(diagnose.CauseCount) {
		a := plan(func(m *diagnose.Memory) {
			m.Belief.SinceMs, m.Belief.Top = evening.UnixMilli(), uint8(c)+1
			m.Belief.LogOdds[c] = 10
			// people have been sent to look: an inspection of now would put the plan off to another minute
			m.Inspected, m.AskedMs = m.Belief.SinceMs, evening.UnixMilli()
			m.Fast.Shots.Lost, m.Fast.Shots.LostMs = 3, evening.UnixMilli()
		})
		given := 0
		for _, shot := range a.Setpoints.Schedule {
			given += shot.VolumeML
		}
		if given > usual || a.Setpoints.MaxVolumeML > sound.MaxVolumeML {
			t.Errorf("%s: %d mL by schedule and %d mL at most, where %d and %d are planned with nothing wrong", c, given, a.Setpoints.MaxVolumeML, usual, sound.MaxVolumeML)
		}
	}
}
