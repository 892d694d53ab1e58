package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/plan"
	"rhizostat/policy/sensing"
)

// A zone that comes down to where its withhold ends is asked about by day, as often as any
// other and no more: by night, and until the pause after an advice that nobody answered is
// over, its people are left alone.
func TestTheEndOfAWithholdIsAskedByDay(t *testing.T) {
	for name, c := range map[string]struct {
		from time.Duration
		fall float64 // m3/m3 a minute
	}{
		"in the morning":   {8 * time.Hour, 0.0004},
		"in the afternoon": {14 * time.Hour, 0.0004},
		"slowly":           {7 * time.Hour, 0.00015},
		"by night":         {21 * time.Hour, 0.0004},
	} {
		fall := c.fall
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		full := z.ground.band.FullPoint
		asked := map[time.Time]int{} // by irrigation day
		approve := true
		type open struct {
			id string
			by time.Time
		}
		var pending []open
		wake := time.Time{}
		var step func(e Event)
		step = func(e Event) {
			out := z.Step(e)
			wake = out.NextWake
			a := out.Advice
			if a == nil || a.Setpoints == nil {
				return
			}
			asked[a.ValidFrom]++
			if left := z.settings.DayAt(a.ValidFrom).DaytimeEnd; left.Sub(e.At) < leastDay+leastDecideTime {
				t.Errorf("%s: asked at %s; daytime ends at %s", name, e.At.Format("02 15:04"), left.Format("15:04"))
			}
			step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: a.ID, State: StatePending}})
			if approve && a.Action == advice.Withhold {
				step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: a.ID, State: StateApproved}})
				approve = false
				return
			}
			pending = append(pending, open{a.ID, a.DecideBy})
		}
		start := monday.Add(c.from)
		level := full + 0.02
		for m := range 36 * 60 {
			at := start.Add(time.Duration(m) * time.Minute)
			if !approve { // it dries out within the hours after, whatever is advised
				level -= fall
			}
			if level < 0.2 {
				break
			}
			for !wake.IsZero() && wake.Before(at) {
				step(Event{Kind: Wake, At: wake})
			}
			for k := range z.settings.Probes {
				e := Event{Kind: Reading, At: at, Stamp: at, Source: k}
				e.Values.Set(sensing.WaterContent, z.ground.tables[k].Reading(level))
				step(e)
			}
			for len(pending) > 0 && !at.Before(pending[0].by) {
				id := pending[0].id
				pending = pending[1:]
				step(Event{Kind: Approved, At: at, Approval: &Approval{Advice: id, State: StateExpired}})
			}
		}
		if approve {
			t.Fatalf("%s: a container above its full point got no withhold", name)
		}
		for day, n := range asked {
			if n > mostADay+1 { // the evening's own among them
				t.Errorf("%s: %d advices for the irrigation day of %s; expected at most %d", name, n, day.Format("02 January"), mostADay+1)
			}
		}
		t.Logf("%s: %v", name, asked)
	}
}

// Where both plans use up the day's limit, another order of the same shots is not worth a
// question, unless it spares the roots saturation.
func TestTheSameWaterIsNotAskedAbout(t *testing.T) {
	for name, c := range map[string]struct {
		binds         bool
		standing      int // mL
		best          int
		wetter, wants bool
	}{
		"both use up the limit":           {true, 1480, 1440, false, true},
		"the new one allows more":         {true, 1000, 1440, false, false},
		"no limit binds":                  {false, 1480, 1440, false, false},
		"the standing one saturates":      {true, 1480, 1440, true, false},
		"the standing one leaves a shot":  {true, 1400, 1440, false, false},
		"another limit binds the new one": {true, 1480, 1000, false, false},
	} {
		best := plan.Proposal{LimitBinds: c.binds, Setpoints: &advice.Setpoints{ShotVolumeML: 80, MaxVolumeML: c.best}}
		var score plan.Score
		if c.wetter {
			score.Saturation = 1
		}
		if got := sameWater(&advice.Setpoints{MaxVolumeML: c.standing}, &best, &plan.Request{Limits: plan.Limits{MaxDailyML: 1500}}, score); got != c.wants {
			t.Errorf("%s: %v, expected %v", name, got, c.wants)
		}
	}
}
