package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
)

// waits puts an advice for the running day among a zone's plans.
func waits(z *Zone, at time.Time, action advice.Action, state ApprovalState, first time.Time) *planned {
	z.plans = []planned{{Advice: remembered{
		ID: "x", IssuedAt: at.Add(-time.Minute), ValidFrom: z.today.day.Start, ValidUntil: z.today.day.Next, Action: action,
		Setpoints: &advice.Setpoints{FirstShotAt: first, LastShotBy: first, ShotVolumeML: 100, MaxVolumeML: 500},
	}, State: state}}
	return &z.plans[0]
}

// Where a plan with water goes on until another is approved, people are given an hour to
// decide on that; where none does, or it was made for another container, they are asked to be
// quick.
func TestNothingPressesWhileAPlanIsInForce(t *testing.T) {
	z, _ := lived(t, 3)
	at := z.today.day.Start.Add(28 * time.Hour)
	z.Step(Event{Kind: Wake, At: at})
	lead := z.settings.DecideBeforeFirstShot
	for name, c := range map[string]struct {
		action   advice.Action
		state    ApprovalState
		repotted bool
		want     time.Duration
	}{
		"water by plan":          {advice.Irrigate, StateApproved, false, calmDecideTime},
		"nobody approved":        {advice.Irrigate, StateExpired, false, leastDecideTime},
		"no water by plan":       {advice.Withhold, StateApproved, false, leastDecideTime},
		"the plan of an old pot": {advice.Irrigate, StateApproved, true, leastDecideTime},
	} {
		waits(z, at, c.action, c.state, at.Add(time.Hour))
		z.m.Plans.RepottedMs = 0
		if c.repotted {
			z.m.Plans.RepottedMs = at.UnixMilli()
		}
		if got := z.earliest(at.UnixMilli(), z.today.day).Sub(at) - lead; got != c.want {
			t.Errorf("%s: people have %v, expected %v", name, got, c.want)
		}
	}
	z.m.Plans.RepottedMs, z.m.Plans.Deciding.TakesS = 0, 5400
	waits(z, at, advice.Irrigate, StateApproved, at.Add(time.Hour))
	if got := z.earliest(at.UnixMilli(), z.today.day).Sub(at) - lead; got != 112*time.Minute {
		t.Errorf("who takes 90 min has %v", got)
	}
}

// The plan of today does not go on tomorrow: who is asked about tomorrow shortly before it
// begins is not given an hour in which its first shots are due.
func TestTodaysPlanDoesNotGoOnTomorrow(t *testing.T) {
	z, _ := lived(t, 3)
	at := z.today.day.Next.Add(23 * time.Hour)
	z.Step(Event{Kind: Wake, At: at})
	waits(z, at, advice.Irrigate, StateApproved, at.Add(-12*time.Hour))
	tomorrow := z.settings.DayAt(z.today.day.Next)
	if got := z.request(at.UnixMilli(), tomorrow).Earliest.Sub(at) - z.settings.DecideBeforeFirstShot; got != leastDecideTime {
		t.Errorf("the first shot of tomorrow waits for %v, expected %v", got, leastDecideTime)
	}
	if got := z.request(at.UnixMilli(), z.today.day).Earliest.Sub(at) - z.settings.DecideBeforeFirstShot; got != calmDecideTime {
		t.Errorf("the first shot of what is left of today waits for %v, expected %v", got, calmDecideTime)
	}
}

// Tomorrow's plan, which takes back what waits for a person, gives a question about today's
// water an hour; one that there is nothing to be late for gives way.
func TestTomorrowsPlanLetsTodaysQuestionBeAnswered(t *testing.T) {
	for name, c := range map[string]struct {
		water bool
		want  time.Duration // after it is due
	}{"water": {true, waitForToday}, "no water": {false, 0}} {
		z, _ := lived(t, 3)
		due := z.today.day.Next.Add(24*time.Hour - z.settings.IssueBeforeDay)
		z.Step(Event{Kind: Wake, At: due.Add(-10 * time.Minute)})
		z.m.Learned.SeenMs = due.UnixMilli() // its probes go on
		first := time.Time{}
		action := advice.Withhold
		if c.water {
			first, action = due.Add(3*time.Hour), advice.Irrigate
		}
		issued := time.Duration(-1)
		for m := time.Duration(0); m <= 2*time.Hour && issued < 0; m += 5 * time.Minute {
			at := due.Add(m)
			z.elapse(at.UnixMilli())
			waits(z, at, action, StatePending, first)
			z.scratch.out = Output{}
			z.m.Plans.IssuedForMs = z.today.fromMs
			for i := range z.probes {
				z.m.Panel.Observe(i, at.UnixMilli(), 0.5+0.001*float64(m/time.Minute%3), 0.5, sensing.Zone{Ceiling: 0.92, Capacity: 0.6})
				z.probes[i].AtMs = at.UnixMilli()
			}
			z.consider(at.UnixMilli())
			if a := z.scratch.out.Advice; a != nil && a.Action != advice.Inspect {
				issued = m
			}
		}
		if issued != c.want {
			t.Errorf("%s: tomorrow's plan came %v after it was due, expected %v", name, issued, c.want)
		}
	}
}

// Who lets the evening's advice expire is asked once more on the day, and not a third time; nor
// just before the question about the next day, unless the zone is too dry to wait for it.
func TestNobodyIsAskedAThirdTimeForADay(t *testing.T) {
	for _, c := range []struct {
		asked int32
		hours time.Duration // after the day's start; the evening's question is due 12 h after it
		dry   bool
		want  bool
	}{{0, 4, false, true}, {1, 4, false, false}, {0, 8, false, true}, {0, 10, false, false}, {0, 10, true, true}, {0, 13, true, false}} {
		z, _ := lived(t, 3)
		z.settings.Day.End.AfterMidnight = 22 * time.Hour
		asked, want := c.asked, c.want
		at := z.today.day.Next.Add(c.hours * time.Hour)
		z.Step(Event{Kind: Wake, At: at})
		p := &z.m.Plans
		if z.ground.band.RefillPoint = 0.3; c.dry {
			z.ground.band.RefillPoint = 0.9
		}
		z.plans = nil
		p.IssuedForMs, p.RetryMs, p.AskedToday, p.AskedDayMs = z.today.fromMs, at.UnixMilli(), asked, z.today.fromMs
		if got := z.needsToday(at.UnixMilli()); got != want {
			t.Errorf("asked %d times on the day already, %d h after its start, dry %v: asked again %v, expected %v", asked, c.hours, c.dry, got, want)
		}
	}
}
