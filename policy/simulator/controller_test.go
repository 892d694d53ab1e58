package simulator

import (
	"testing"
	"time"
)

// at is a time of the day of the setpoints.
func at(hour, minute int) time.Time {
	return spring.Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute)
}

func sampleSetpoints() *Setpoints {
	return &Setpoints{
		ValidFrom: at(6, 0), ValidUntil: at(30, 0), FirstShotAt: at(7, 0), LastShotBy: at(16, 0), Trigger: 0.52, Target: 0.60,
		ShotVolumeML: 150, MinInterval: 20 * time.Minute, MaxVolumeML: 900,
		Schedule: []Shot{{at(7, 0), 150}, {at(7, 20), 150}, {at(12, 0), 120}},
	}
}

// given plays minutes and tells when what was given.
func given(c *Controller, from, to time.Time, each func(now time.Time)) (out []Shot) {
	for now := from; now.Before(to); now = now.Add(time.Minute) {
		if each != nil {
			each(now)
		}
		if v := c.Due(now); v > 0 {
			out = append(out, Shot{now, v})
		}
	}
	return out
}

func same(t *testing.T, got, want []Shot) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d shots %v; expected %d %v", len(got), got, len(want), want)
	}
	for i := range got {
		if !got[i].At.Equal(want[i].At) || got[i].VolumeML != want[i].VolumeML {
			t.Errorf("shot %d is %v; expected %v", i, got[i], want[i])
		}
	}
}

func TestControllerByClock(t *testing.T) {
	c := Controller{ByClock: true, Setpoints: sampleSetpoints()}
	same(t, given(&c, at(5, 0), at(20, 0), nil), c.Setpoints.Schedule)
	// 10 min late still comes, later is dropped
	c = Controller{ByClock: true, Setpoints: sampleSetpoints()}
	same(t, given(&c, at(7, 15), at(20, 0), nil), []Shot{{at(7, 20), 150}, {at(12, 0), 120}})
	c = Controller{ByClock: true, Setpoints: sampleSetpoints()}
	same(t, given(&c, at(7, 10), at(7, 20), nil), []Shot{{at(7, 10), 150}})
}

func TestControllerByTrigger(t *testing.T) {
	c := Controller{Setpoints: sampleSetpoints()}
	level := 0.50
	got := given(&c, at(5, 0), at(20, 0), func(now time.Time) {
		c.Hear(now, level)
		switch {
		case now.Before(at(7, 30)):
			level = 0.55 // rewet goes on above the trigger
		case now.Before(at(9, 0)):
			level = 0.61
		case now.Before(at(15, 0)):
			level = 0.53
		default:
			level = 0.52
		}
	})
	// 7:00 and 7:20 to the target, then one at each interval from 15:01 on, when the state fell, to the end of the window
	same(t, got, []Shot{{at(7, 0), 150}, {at(7, 20), 150}, {at(15, 1), 150}, {at(15, 21), 150}, {at(15, 41), 150}})

	c = Controller{Setpoints: sampleSetpoints()} // the day's volume ends it
	got = given(&c, at(5, 0), at(20, 0), func(now time.Time) { c.Hear(now, 0.5) })
	if len(got) != 6 {
		t.Errorf("%d shots of 150 mL within 900 mL", len(got))
	}
	c = Controller{Setpoints: sampleSetpoints()} // an old state waters nothing
	c.Hear(at(6, 30), 0.4)
	same(t, given(&c, at(7, 0), at(20, 0), nil), []Shot{{at(7, 0), 150}, {at(7, 20), 150}})
	c = Controller{Setpoints: sampleSetpoints()} // at the target at once: no rewet
	same(t, given(&c, at(5, 0), at(20, 0), func(now time.Time) { c.Hear(now, 0.62) }), nil)
}

func TestControllerByOwnProbe(t *testing.T) {
	c := Controller{OwnProbe: "p1", Setpoints: sampleSetpoints()}
	c.Setpoints.ProbeTriggers = []ProbeTrigger{{"p1", 0.55}}
	got := given(&c, at(5, 0), at(10, 0), func(now time.Time) {
		c.Hear(now, 0.60)
		c.HearProbe(now, 0.56)
		if now.Equal(at(9, 0)) {
			c.HearProbe(now, 0.55)
		}
	})
	same(t, got, []Shot{{at(9, 0), 150}})
}

func TestControllerOwnProgramme(t *testing.T) {
	timer := Timer{Start: 8 * time.Hour, Every: time.Hour, Count: 3, VolumeML: 200, Offset: 2 * time.Hour}
	c := Controller{Timer: timer}
	same(t, given(&c, at(0, 0), at(24, 0), nil), []Shot{{at(6, 0), 200}, {at(7, 0), 200}, {at(8, 0), 200}})
	// past the validity, the programme again
	c = Controller{Timer: timer, Setpoints: sampleSetpoints()}
	same(t, given(&c, at(29, 0), at(48, 0), nil), []Shot{{at(30, 0), 200}, {at(31, 0), 200}, {at(32, 0), 200}})
	// newer setpoints that wait while the older hold keep the programme off
	c = Controller{ByClock: true, Timer: timer, Setpoints: sampleSetpoints()}
	next := sampleSetpoints()
	next.ValidFrom, next.ValidUntil, next.Schedule = at(30, 0), at(54, 0), []Shot{{at(31, 0), 90}}
	c.Put(next, at(17, 0))
	same(t, given(&c, at(17, 0), at(48, 0), nil), []Shot{{at(31, 0), 90}})
	// a withholding ends at its trigger
	c = Controller{Timer: timer, Setpoints: &Setpoints{Withhold: true, ValidFrom: at(0, 0), ValidUntil: at(24, 0), Trigger: 0.5}}
	got := given(&c, at(0, 0), at(24, 0), func(now time.Time) {
		c.Hear(now, 0.55)
		if now.After(at(6, 30)) {
			c.Hear(now, 0.5)
		}
	})
	same(t, got, []Shot{{at(7, 0), 200}, {at(8, 0), 200}})
	// its own hard limit
	c = Controller{Timer: timer, DailyML: 450}
	same(t, given(&c, at(0, 0), at(24, 0), nil), []Shot{{at(6, 0), 200}, {at(7, 0), 200}, {at(8, 0), 50}})
}
