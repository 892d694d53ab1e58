package policy

import (
	"fmt"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/simulator"
)

// What is forecast of a zone that is watered by trigger is what a controller by
// trigger does: the facility's own, which shares no code with it, gives the same
// shots on the same course of water.
func TestFollowerDoesAsAControllerByTrigger(t *testing.T) {
	at := monday.Add(6 * time.Hour)
	setpoints := func(change func(*advice.Setpoints)) *advice.Setpoints {
		s := &advice.Setpoints{FirstShotAt: at.Add(time.Hour), LastShotBy: at.Add(9 * time.Hour), TriggerWaterContent: 0.5, TargetWaterContent: 0.54,
			ShotVolumeML: 150, MinIntervalS: 1200, MaxVolumeML: 3000}
		change(s)
		return s
	}
	cases := map[string]struct {
		action advice.Action
		s      *advice.Setpoints
		level  float64
		least  int // shots, so that the case shows something
		most   int
	}{
		"a day of rewet and hold": {advice.Irrigate, setpoints(func(*advice.Setpoints) {}), 0.48, 6, 40},
		"the cap binds":           {advice.Irrigate, setpoints(func(s *advice.Setpoints) { s.MaxVolumeML = 500 }), 0.48, 3, 3},
		"wet enough":              {advice.Irrigate, setpoints(func(s *advice.Setpoints) { s.TargetWaterContent, s.TriggerWaterContent = 0.5, 0.3 }), 0.55, 0, 0},
		"the last shot is near":   {advice.Irrigate, setpoints(func(s *advice.Setpoints) { s.LastShotBy = s.FirstShotAt.Add(30 * time.Minute) }), 0.45, 2, 2},
		"withheld":                {advice.Withhold, &advice.Setpoints{TriggerWaterContent: 0.3}, 0.5, 0, 0},
	}
	for name, k := range cases {
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		a := &advice.Advice{ID: "a", Action: k.action, Setpoints: k.s, ValidFrom: at, ValidUntil: at.Add(24 * time.Hour)}
		z.plans = []planned{{Advice: remember(a), State: StateApproved}}
		s := forecast.Situation{At: at, WaterContent: k.level, VolumeML: 7000, Capacity: 0.6, Capture: 0.9, DrainTimeS: 900, UptakeML: make([]float64, forecast.Steps24h)}
		for i := range s.UptakeML {
			s.UptakeML[i] = 12
		}
		z.m.Plans.ClockLog = -wayMost
		ways := z.ways(&s, at.UnixMilli())
		if len(ways) != len(forecast.Thirst) || ways[0].Uptake != 1 {
			t.Fatalf("%s: %d ways, the first at %v of the uptake; expected the %d by trigger, the middle first", name, len(ways), ways[0].Uptake, len(forecast.Thirst))
		}
		got := ways[0].Shots

		var want []forecast.Shot
		c := simulator.Controller{}
		c.Put(obeyed(&issued{Advice: a}), at)
		b, w := s.Balance(), s.WaterContent
		for i := range s.UptakeML {
			now := at.Add(time.Duration(i) * forecast.Step)
			c.Hear(now, w)
			ml := c.Due(now)
			if ml > 0 {
				want = append(want, forecast.Shot{Step: i, VolumeML: ml})
			}
			w, _, _ = b.Step(w, ml, s.UptakeML[i])
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: %v, the controller gives %v", name, got, want)
		}
		if len(got) < k.least || len(got) > k.most {
			t.Errorf("%s: %d shots, expected %d to %d", name, len(got), k.least, k.most)
		}
	}
}

// Where it is not known how a controller follows, both ways are forecast, each by
// its weight.
func TestBothWaysOfFollowingAreForecast(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	s := forecast.Situation{At: monday, WaterContent: 0.5, VolumeML: 7000, Capacity: 0.6, Capture: 0.9, DrainTimeS: 900, UptakeRelSD: 0.2, UptakeML: make([]float64, forecast.Steps24h)}
	for _, odds := range []float64{-1, 0, 1} {
		z.m.Plans.ClockLog = odds
		sum, ways := 0.0, z.ways(&s, monday.UnixMilli())
		for _, w := range ways {
			sum += w.Weight
		}
		if sum < 1-1e-9 || sum > 1+1e-9 || len(ways) != len(forecast.Thirst)+1 || ways[0].Uptake != 1 {
			t.Errorf("at odds of %v by clock %d ways weigh %v, the first drinks %v; expected one by clock and five by trigger that weigh 1, the middle first", odds, len(ways), sum, ways[0].Uptake)
		}
	}
}
