package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/diagnose"
	"rhizostat/policy/sensing"
)

// An advice to look is over once its cause has gone or was answered, and not before; one that
// comes shortly before the irrigation day ends leaves people the next daylight.
func TestAnAdviceToLookEndsWithItsCause(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	begin := monday.Add(24*time.Hour - 15*time.Minute)
	at := begin.UnixMilli()
	z.elapse(at)
	step := func(at int64) Output {
		z.scratch.out = Output{}
		z.looked(at)
		return z.scratch.out
	}
	for name, c := range map[string]struct {
		ask func()
		end func()
	}{
		"a fault that is mended": {func() {
			b := &z.m.Diagnosis.Belief
			*b = diagnose.Belief{AtMs: at, SinceMs: at}
			b.LogOdds[diagnose.ValveStuckClosed] = 9
			z.m.Diagnosis.Fast.Shots.Lost, z.m.Diagnosis.Fast.Shots.LostMs = 3, at
			z.m.Diagnosis.AskedMs = 0
			z.inspectHardware(at)
		}, func() { z.m.Diagnosis.Said("decision", "no valve-stuck-closed, it is fine", at, at) }},
		"probes that are back": {func() {
			z.m.Plans.QuorumMs = at
			z.ask(advice.InspectQuorum(0, 1, "p1"), 1, asksProbes, at)
		}, func() { z.m.Plans.QuorumMs = 0 }},
		"another container that is told": {func() {
			z.ground.misfit = true
			z.cannotHold(at)
		}, func() { z.ground.misfit, z.m.Plans.RepottedMs = false, at+1 }},
	} {
		z.plans, z.scratch.out = nil, Output{}
		c.ask()
		a := z.scratch.out.Advice
		if a == nil || a.Action != advice.Inspect {
			t.Errorf("%s: %+v; the test wants an advice to look", name, a)
			continue
		}
		if stands := a.ValidUntil.Sub(a.ValidFrom); stands < leastToLook {
			t.Errorf("%s: it stands for %v", name, stands)
		}
		later := at + 5*60_000
		if out := step(later); out.Over != "" {
			t.Errorf("%s: it is over while it lasts", name)
		}
		c.end()
		if out := step(later); out.Over != a.ID {
			t.Errorf("%s: %q is over, expected %s", name, out.Over, a.ID)
		}
		if out := step(later + 5*60_000); out.Over != "" {
			t.Errorf("%s: it is over twice", name)
		}
	}
}

// While a trouble lasts, another cause that leads for a while does not end the advice to look at
// what is as likely as before to be broken: nobody would be asked again for a day.
func TestAnAdviceToLookOutlastsAnotherLead(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	begin := monday.Add(10 * time.Hour)
	at := begin.UnixMilli()
	z.elapse(at)
	b := &z.m.Diagnosis.Belief
	*b = diagnose.Belief{AtMs: at, SinceMs: at}
	b.LogOdds[diagnose.ValveStuckClosed] = 9
	z.m.Diagnosis.Fast.Shots.Lost, z.m.Diagnosis.Fast.Shots.LostMs = 3, at
	z.scratch.out = Output{}
	z.inspectHardware(at)
	a := z.scratch.out.Advice
	if a == nil {
		t.Fatal("nobody is asked; the test wants an advice to look")
	}
	for _, c := range []struct {
		valve, salt float32
		over        bool
	}{{6, 4.5, false}, {5, 5, false}, {1, 5, true}} {
		at += 5 * 60_000
		b.LogOdds[diagnose.ValveStuckClosed], b.LogOdds[diagnose.SaltBuildUp] = c.valve, c.salt
		z.scratch.out = Output{}
		z.looked(at)
		lead, p, _, wrong := z.m.Diagnosis.Leading()
		t.Logf("valve %v, salt %v: %v leads with %.2f, wrong %v", c.valve, c.salt, lead, p, wrong)
		if over := z.scratch.out.Over == a.ID; over != c.over {
			t.Errorf("log odds of the valve %v, of salt %v: over %v, expected %v", c.valve, c.salt, over, c.over)
		}
	}
}

// Probes that are away and back all day, as behind a radio that just reaches them, send people to
// look every few hours and not each time.
func TestFlutteringProbesAskNowAndThen(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	for minute := range 24 * 60 {
		at := monday.Add(time.Duration(minute) * time.Minute)
		out := z.Step(Event{Kind: Wake, At: at})
		if out.Advice != nil && out.Advice.Action == advice.Inspect {
			asked++
		}
		if minute%120 < 30 {
			for k := range z.settings.Probes {
				z.Step(heard(at, k, map[sensing.Signal]float64{sensing.WaterContent: 0.55 + 0.001*float64(minute%3)}))
			}
		}
	}
	t.Logf("asked %d times", asked)
	if asked < 3 || asked > 8 {
		t.Errorf("of probes that were away twelve times people were asked to look %d times in a day; expected 3 to 8", asked)
	}
}

// An advice to look that could not be recorded is given again, whatever it is about.
func TestAnUnrecordedAdviceToLookIsGivenAgain(t *testing.T) {
	for name, ask := range map[string]func(z *Zone, at int64){
		"a fault": func(z *Zone, at int64) {
			b := &z.m.Diagnosis.Belief
			*b = diagnose.Belief{AtMs: at, SinceMs: at}
			b.LogOdds[diagnose.ValveStuckClosed] = 9
			z.m.Diagnosis.Fast.Shots.Lost, z.m.Diagnosis.Fast.Shots.LostMs = 3, at
			z.inspectHardware(at)
		},
		"the container": func(z *Zone, at int64) {
			z.m.Diagnosis.Size = diagnose.Size{KeptML: 6000, Seen: float32(3 * 6000 / z.ground.constants.VolumeML), Days: 6, AskedMs: z.m.Diagnosis.Size.AskedMs}
			z.inspectVolume(at)
		},
	} {
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		at := monday.Add(10 * time.Hour).UnixMilli()
		z.elapse(at)
		for round, recorded := range []bool{false, true, true} {
			z.scratch.out = Output{}
			ask(z, at)
			if got, want := z.scratch.out.Advice != nil, round < 2; got != want {
				t.Errorf("%s, round %d: asked %v, expected %v", name, round, got, want)
			}
			if !recorded {
				z.unrecorded(at)
			}
		}
	}
}
