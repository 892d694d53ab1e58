package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/diagnose"
	"rhizostat/policy/sensing"
)

// An advice says what is likely wrong, since when, why, and what to look at.
func TestAdviceNamesTheCauseAndTheLook(t *testing.T) {
	z, _ := lived(t, 6)
	at := z.m.NowMs
	z.m.Diagnosis.Belief = diagnose.Belief{AtMs: at, SinceMs: at - 3600_000}
	z.m.Diagnosis.Belief.LogOdds[diagnose.EmitterFault] = 9
	z.m.Diagnosis.Fast.Shots.Lost, z.m.Diagnosis.Fast.Shots.LostMs = 3, at
	got := z.diagnosisReasons(at)
	for _, code := range []string{"likely-cause", "shots-lost", "look-valve"} {
		if !says(got, code) {
			t.Errorf("%s is not said: %+v", code, got)
		}
	}
}

// A crop that drinks otherwise because of the weather, its growth or a pruning has nothing
// wrong with it, and nothing is called wrong.
func TestAChangeIsNotCalledWrong(t *testing.T) {
	z, _ := lived(t, 6)
	at := z.m.NowMs
	z.m.Diagnosis.Belief = diagnose.Belief{AtMs: at, SinceMs: at - 3600_000}
	z.m.Diagnosis.Belief.LogOdds[diagnose.WeatherOrGrowth] = 9
	fall := &z.m.Diagnosis.Fast.Fall
	fall.SawMs, fall.Expected, fall.Fell = at, 0.009, 0.005
	if got := z.diagnosisReasons(at); !says(got, "likely-change") || says(got, "likely-cause") {
		t.Errorf("said: %+v", got)
	}
}

// A person who decides on a saturated zone is told that it is, and to leave its roots
// alone; one who decides by probes that are far apart is told that, too.
func TestAdviceTellsOfAirAndOfProbesApart(t *testing.T) {
	for _, c := range []struct {
		name   string
		a, b   float64 // what the probes read
		said   []string
		unsaid []string
	}{
		{"in the band", 0.50, 0.51, nil, []string{"saturated-now", "roots-left-alone", "probes-far-apart"}},
		{"saturated", 0.85, 0.85, []string{"saturated-now", "roots-left-alone"}, []string{"probes-far-apart", "probes-under-water"}},
		{"under water", 0.93, 0.93, []string{"probes-under-water", "roots-left-alone"}, []string{"probes-far-apart", "saturated-now"}},
		{"far apart", 0.35, 0.65, []string{"probes-far-apart"}, []string{"saturated-now"}},
	} {
		s := bench()
		s.Aeration.ToleratedShare = 0.2
		z, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		at := monday.Add(8 * time.Hour)
		for range 90 {
			at = at.Add(time.Minute)
			z.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: c.a}))
			z.Step(heard(at, 1, map[sensing.Signal]float64{sensing.WaterContent: c.b}))
		}
		got := z.diagnosisReasons(at.UnixMilli())
		for _, code := range c.said {
			if !says(got, code) {
				t.Errorf("%s: %s is not said: %+v", c.name, code, got)
			}
		}
		for _, code := range c.unsaid {
			if says(got, code) {
				t.Errorf("%s: %s is said", c.name, code)
			}
		}
	}
}

// Shots that do not arrive are not answered with more of them.
func TestWaterThatDoesNotArriveIsNotRaised(t *testing.T) {
	z, _ := lived(t, 6)
	usual := max(z.m.Plans.UsualML, float64(z.m.Diagnosis.Fast.Dry.UptakeML)/(1-z.ground.band.DrainFraction))
	if z.m.Plans.UsualML <= 0 || z.m.Diagnosis.Fast.Dry.UptakeML <= 0 {
		t.Fatal("what the zone usually gets and drinks is not known after six days")
	}
	day := z.settings.DayAt(z.today.day.Next)
	at := z.m.NowMs
	z.m.Learned.Capture.Mean = 0.3 // what blocked emitters teach
	before := z.request(at, day)
	z.m.Diagnosis.Belief = diagnose.Belief{AtMs: at, SinceMs: at - 3600_000}
	z.m.Diagnosis.Belief.LogOdds[diagnose.EmitterFault] = 9
	z.m.Diagnosis.Fast.Shots.Lost, z.m.Diagnosis.Fast.Shots.LostMs = 3, at
	r := z.request(at, day)
	if r.Limits.MaxDailyML > undeliveredMore*usual+1 || r.Limits.MaxDailyML >= before.Limits.MaxDailyML {
		t.Errorf("the day may get %.0f mL, before %.0f; expected at most a quarter more than the usual %.0f", r.Limits.MaxDailyML, before.Limits.MaxDailyML, usual)
	}
	if !says(z.diagnosisReasons(at), "delivery-limit") {
		t.Error("nobody is told why the day gets no more")
	}
}

// A probe that reads far below what its substrate never gives up hangs in the air.
func TestProbesInTheAirAreNotWateredBy(t *testing.T) {
	s := bench()
	s.Substrate.Retention.ThetaR = 0.2
	s.Probes = s.Probes[:1]
	z, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	at, asked := monday.Add(6*time.Hour), false
	for m := range 600 {
		at = at.Add(time.Minute)
		wc := 0.50
		if m > 120 {
			wc = 0.05
		}
		out := z.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: wc}))
		if a := out.Advice; a != nil && m > 125 {
			if a.Action != advice.Inspect {
				t.Errorf("%s: %s, %+v, by a probe that fell out", at, a.Action, a.Setpoints)
			}
			asked = asked || a.Action == advice.Inspect
		}
	}
	if z.health(0, at.UnixMilli()) != sensing.OutOfRange || !asked {
		t.Errorf("the probe is %v, somebody was asked to look: %v", z.health(0, at.UnixMilli()), asked)
	}
	if z.leastReading() != 0.1 {
		t.Errorf("the least reading is %v; expected 0.1, of a residual of 0.2", z.leastReading())
	}
}
