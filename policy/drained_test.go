package policy

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/advice"
)

// A day by trigger that drained more than its plan said teaches that shots begin
// to run through lower, one that drained less that they do so higher. A day by
// clock, one without a gauge, one of two plans and one of a withhold teach nothing.
func TestWhatDrainedMovesTheNextPlans(t *testing.T) {
	from := monday.Add(6 * time.Hour)
	to := from.Add(24 * time.Hour)
	ended := func(fraction float64, days int, change func(z *Zone)) float64 {
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		l := &z.m.Learned
		l.Advance(&z.ground.constants, to.UnixMilli())
		l.Capture.Mean = 0.93
		l.Account.DrainMs = to.UnixMilli()
		for i := range 20 {
			l.Account.Irrigation[i] = 100
			l.Account.Drain[i], l.Account.Reported[i] = float32(100*fraction), float32(100*fraction)
		}
		z.m.Plans.ClockLog = -4
		z.plans = []planned{{Advice: remembered{Action: advice.Irrigate, ValidFrom: from, ValidUntil: to,
			Setpoints: &advice.Setpoints{ShotVolumeML: 200}}, State: StateExpired, Stood: true, Drain: 0.15, Holds: l.Capacity.Mean}}
		z.today.fromMs = to.UnixMilli()
		if change != nil {
			change(z)
		}
		for range days {
			z.m.Plans.DrainDayMs = from.UnixMilli()
			z.drained()
			z.drained() // once a day only
		}
		return z.m.Plans.DrainShift
	}
	rise := func() float64 {
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		return 0.93 * 200 / z.ground.constants.VolumeML
	}()
	if got, want := ended(0.25, 1, nil), -drainShare*0.10*rise; math.Abs(got-want) > 1e-6 {
		t.Errorf("a tenth too much moves it by %v; expected %v", got, want)
	}
	if got, want := ended(0.05, 1, nil), drainShare*0.10*rise; math.Abs(got-want) > 1e-6 {
		t.Errorf("a tenth too little moves it by %v; expected %v", got, want)
	}
	if got := ended(0.95, 50, nil); got != -mostDrainShift {
		t.Errorf("fifty wet days move it to %v; expected the bound", got)
	}
	for name, c := range map[string]struct{ holds, want float64 }{
		"a capacity that has since come down as far": {0.10 * rise, 0},
		"one that came down further":                 {0.20 * rise, 0},
		"one that came down half as far":             {0.05 * rise, -drainShare * 0.05 * rise},
		"one that went up":                           {-0.05 * rise, -drainShare * 0.15 * rise},
	} {
		if got := ended(0.25, 1, func(z *Zone) { z.plans[0].Holds += c.holds }); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("a tenth too much and %s moves it by %v; expected %v", name, got, c.want)
		}
	}
	for name, change := range map[string]func(z *Zone){
		"a day by clock":    func(z *Zone) { z.m.Plans.ClockLog = 4 },
		"a day of no gauge": func(z *Zone) { z.m.Learned.Account.DrainMs = 0 },
		"a day of no plan":  func(z *Zone) { z.plans[0].Stood = false },
		"a withhold":        func(z *Zone) { z.plans[0].Advice.Action = advice.Withhold },
		"a late plan":       func(z *Zone) { z.plans[0].Advice.ValidFrom = from.Add(time.Hour) },
		"a day of two pots": func(z *Zone) { z.m.Plans.RepottedMs = from.Add(8 * time.Hour).UnixMilli() },
		"a day of no water": func(z *Zone) { clear(z.m.Learned.Account.Irrigation[:]) },
		"a day of two plans": func(z *Zone) {
			again := z.plans[0]
			again.Advice.ValidFrom = from.Add(5 * time.Hour)
			z.plans = append(z.plans, again)
		},
	} {
		if got := ended(0.5, 1, change); got != 0 {
			t.Errorf("%s moves it by %v", name, got)
		}
	}
}
