package guard

import (
	"math"
	"reflect"
	"testing"
	"time"

	"rhizostat/policy/advice"
)

var dayStart = time.Date(2026, 5, 5, 6, 0, 0, 0, time.UTC)

// sound is an input that a sound plan passes.
func sound() Input {
	return Input{
		Now: dayStart.Add(-12 * time.Hour), WindowStart: dayStart, WindowEnd: dayStart.Add(24 * time.Hour), Location: time.UTC,
		MaxShotML: 300, MaxDailyML: 3000, MinIntervalMin: 15,
		VolumeML: 7000, TotalPorosity: 0.90, Capacity: 0.61, FullPoint: 0.60, SaturationPoint: 0.70, MostUptakeML: 2000, BandDrain: 0.10, FlowMLPerS: 2 / 3.6,
		WaterContent: 0.55, Quorum: true, DataAge: time.Minute, MaxDataAge: time.Hour,
		PoreEC: 3.5, FeedEC: 2.2, PoreKnown: true, FeedKnown: true,
	}
}

// plan is what passes sound.
func plan() *advice.Setpoints {
	sp := &advice.Setpoints{
		FirstShotAt: dayStart.Add(70 * time.Minute), LastShotBy: dayStart.Add(10 * time.Hour), TriggerWaterContent: 0.52, TargetWaterContent: 0.60,
		TriggerByProbe: []advice.ProbeTrigger{{Probe: "p1", WaterContent: 0.55}}, ShotVolumeML: 150, RunTimeS: 270, MinIntervalS: 1200, MaxVolumeML: 1650, DrainFraction: 0.1,
	}
	for i := range 8 {
		sp.Schedule = append(sp.Schedule, advice.Shot{At: sp.FirstShotAt.Add(time.Duration(i) * time.Hour), VolumeML: 150, RunTimeS: 270})
	}
	return sp
}

func TestSoundPlanPasses(t *testing.T) {
	for _, a := range []advice.Action{advice.Irrigate, advice.Leach} {
		want := plan()
		v := Apply(sound(), a, want)
		if v.Stopped || v.Action != a || len(v.Reasons) != 0 || !reflect.DeepEqual(v.Setpoints, want) {
			t.Errorf("%s: %+v", a, v)
		}
	}
	v := Apply(sound(), advice.Withhold, &advice.Setpoints{TriggerWaterContent: 0.52})
	if v.Stopped || v.Action != advice.Withhold || len(v.Reasons) != 0 {
		t.Errorf("withhold: %+v", v)
	}
	if v := Apply(sound(), advice.Inspect, nil); v.Stopped || v.Setpoints != nil || len(v.Reasons) != 0 {
		t.Errorf("inspect: %+v", v)
	}
}

// Each rule alone: what breaks it, and what is left.
func TestRules(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(in *Input, sp *advice.Setpoints)
		code string
		ok   func(v Verdict) bool
	}{
		{"a shot over the site's limit", func(in *Input, _ *advice.Setpoints) { in.MaxShotML = 103 }, "guard-shot-limit",
			func(v Verdict) bool {
				return v.Setpoints.ShotVolumeML == 103 && v.Setpoints.RunTimeS == 185 && v.Setpoints.Schedule[3].VolumeML == 103
			}},
		{"a shot too large for the pot", func(in *Input, _ *advice.Setpoints) { in.VolumeML = 1000 }, "guard-shot-room",
			func(v Verdict) bool { return v.Setpoints.ShotVolumeML == 100 }},
		{"a run time that gives more than its volume", func(_ *Input, sp *advice.Setpoints) { sp.RunTimeS = 400 }, "guard-run-time",
			func(v Verdict) bool { return v.Setpoints.RunTimeS == 270 }},
		{"a day over the site's limit", func(in *Input, _ *advice.Setpoints) { in.MaxDailyML = 1000 }, "guard-daily-limit",
			func(v Verdict) bool { return v.Setpoints.MaxVolumeML == 1000 && len(v.Setpoints.Schedule) == 6 }},
		{"what was given counts", func(in *Input, _ *advice.Setpoints) { in.GivenML = 900 }, "guard-schedule-over",
			func(v Verdict) bool { return len(v.Setpoints.Schedule) == 5 }},
		{"more than the container holds and the crop drinks", func(in *Input, _ *advice.Setpoints) { in.MostUptakeML = 200 }, "guard-uptake",
			func(v Verdict) bool { return v.Setpoints.MaxVolumeML == 976 }}, // (420 + 200)/(1 - 0.25) + 150
		{"shots closer than the site's interval", func(in *Input, _ *advice.Setpoints) { in.MinIntervalMin = 90 }, "guard-interval",
			func(v Verdict) bool { return v.Setpoints.MinIntervalS == 5400 && len(v.Setpoints.Schedule) == 4 }},
		{"shots closer than the plan's own interval", func(_ *Input, sp *advice.Setpoints) { sp.Schedule[1].At = sp.Schedule[0].At.Add(19 * time.Minute) }, "guard-close-shots",
			func(v Verdict) bool { return len(v.Setpoints.Schedule) == 7 }},
		{"a shot right after the last one given", func(in *Input, sp *advice.Setpoints) { in.LastShotAt = sp.FirstShotAt.Add(-5 * time.Minute) }, "guard-close-shots",
			func(v Verdict) bool { return len(v.Setpoints.Schedule) == 7 }},
		{"shots before the day", func(_ *Input, sp *advice.Setpoints) { sp.FirstShotAt = dayStart.Add(-time.Hour) }, "guard-window",
			func(v Verdict) bool { return v.Setpoints.FirstShotAt.Equal(dayStart) }},
		{"shots before a person can decide", func(in *Input, _ *advice.Setpoints) { in.Earliest = dayStart.Add(2*time.Hour + time.Second) }, "guard-window",
			func(v Verdict) bool {
				return v.Setpoints.FirstShotAt.Equal(dayStart.Add(2*time.Hour+time.Minute)) && len(v.Setpoints.Schedule) == 7
			}},
		{"shots after the day", func(in *Input, _ *advice.Setpoints) { in.WindowEnd = dayStart.Add(4 * time.Hour) }, "guard-window",
			func(v Verdict) bool { return v.Setpoints.LastShotBy.Before(dayStart.Add(4 * time.Hour)) }},
		{"a target above the full point", func(_ *Input, sp *advice.Setpoints) { sp.TargetWaterContent = 0.75 }, "guard-target",
			func(v Verdict) bool { return v.Setpoints.TargetWaterContent == 0.60 }},
		{"a target above what the pot holds", func(in *Input, _ *advice.Setpoints) { in.Capacity = 0.557 }, "guard-target",
			func(v Verdict) bool { return v.Setpoints.TargetWaterContent == 0.555 }},
		{"a trigger above the target", func(_ *Input, sp *advice.Setpoints) { sp.TriggerWaterContent = 0.62 }, "guard-trigger",
			func(v Verdict) bool { return v.Setpoints.TriggerWaterContent == 0.595 }},
		{"a probe's trigger where no water can be", func(_ *Input, sp *advice.Setpoints) { sp.TriggerByProbe[0].WaterContent = 1.2 }, "guard-probe-trigger",
			func(v Verdict) bool { return v.Setpoints.TriggerByProbe[0].WaterContent == 0.90 }},
		{"more drain than wanted", func(_ *Input, sp *advice.Setpoints) { sp.DrainFraction = 0.3 }, "guard-drain",
			func(v Verdict) bool { return v.Setpoints.DrainFraction == 0.1 }},
		{"no shot fits the day", func(in *Input, _ *advice.Setpoints) { in.MaxDailyML = 100 }, "guard-nothing-left",
			func(v Verdict) bool {
				return v.Action == advice.Withhold && v.Setpoints.MaxVolumeML == 0 && v.Setpoints.TriggerWaterContent == 0.52
			}},
		{"roots without air", func(in *Input, _ *advice.Setpoints) { in.WaterContent, in.Now = 0.72, dayStart.Add(time.Hour) }, "guard-air",
			func(v Verdict) bool { return v.Action == advice.Withhold }},
	} {
		t.Run(c.name, func(t *testing.T) {
			in, sp := sound(), plan()
			c.do(&in, sp)
			v := Apply(in, advice.Irrigate, sp)
			if v.Stopped || !has(v, c.code) || !c.ok(v) {
				t.Errorf("want %s, got %+v %+v", c.code, v, v.Setpoints)
			}
		})
	}
}

func TestStops(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name string
		do   func(in *Input, sp *advice.Setpoints)
		code string
	}{
		{"below quorum", func(in *Input, _ *advice.Setpoints) { in.Quorum = false }, "guard-quorum"},
		{"old data", func(in *Input, _ *advice.Setpoints) { in.DataAge = 61 * time.Minute }, "guard-stale"},
		{"data from the future", func(in *Input, _ *advice.Setpoints) { in.DataAge = -2 * time.Hour }, "guard-stale"},
		{"no water content", func(in *Input, _ *advice.Setpoints) { in.WaterContent = nan }, "guard-impossible"},
		{"more water than pores", func(in *Input, _ *advice.Setpoints) { in.WaterContent = 0.95 }, "guard-impossible"},
		{"a day that is over", func(in *Input, _ *advice.Setpoints) { in.Now = in.WindowEnd }, "guard-clock"},
		{"a day of a week", func(in *Input, _ *advice.Setpoints) { in.WindowEnd = in.WindowStart.Add(168 * time.Hour) }, "guard-clock"},
		{"limits that are no numbers", func(in *Input, _ *advice.Setpoints) { in.MaxDailyML = nan }, "guard-settings"},
		{"no container", func(in *Input, _ *advice.Setpoints) { in.VolumeML = 0 }, "guard-settings"},
		{"a trigger that is no number", func(_ *Input, sp *advice.Setpoints) { sp.TriggerWaterContent = nan }, "guard-malformed"},
		{"a negative shot", func(_ *Input, sp *advice.Setpoints) { sp.ShotVolumeML = -5 }, "guard-malformed"},
		{"a schedule out of order", func(_ *Input, sp *advice.Setpoints) { sp.Schedule[2].At = dayStart }, "guard-malformed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in, sp := sound(), plan()
			c.do(&in, sp)
			v := Apply(in, advice.Irrigate, sp)
			if !v.Stopped || v.Action != advice.Inspect || v.Setpoints != nil || !has(v, c.code) {
				t.Errorf("want %s, got %+v", c.code, v)
			}
		})
	}
	if v := Apply(sound(), "flood", plan()); !v.Stopped {
		t.Errorf("an action that is none: %+v", v)
	}
	if v := Apply(sound(), advice.Irrigate, nil); !v.Stopped {
		t.Errorf("no setpoints: %+v", v)
	}
}

func TestLeachIsTakenBack(t *testing.T) {
	for name, do := range map[string]func(in *Input){
		"feed not known": func(in *Input) { in.FeedKnown = false }, "EC of a broken probe": func(in *Input) { in.PoreEC = 60 },
		"feed saltier": func(in *Input) { in.FeedEC = 4 }, "recovering": func(in *Input) { in.Recovering = true }, "no number": func(in *Input) { in.FeedEC = math.Inf(1) },
	} {
		in, sp := sound(), plan()
		sp.DrainFraction = 0.3
		do(&in)
		if v := Apply(in, advice.Leach, sp); v.Action != advice.Irrigate || v.Setpoints.DrainFraction != 0.1 || len(v.Reasons) == 0 {
			t.Errorf("%s: %+v %+v", name, v, v.Setpoints)
		}
	}
	sp := plan()
	sp.DrainFraction = 0.3
	if v := Apply(sound(), advice.Leach, sp); v.Action != advice.Leach || v.Setpoints.DrainFraction != 0.3 {
		t.Errorf("a sound leach: %+v", v)
	}
}

func TestWithholdGivesNoWater(t *testing.T) {
	v := Apply(sound(), advice.Withhold, plan())
	if v.Action != advice.Withhold || v.Setpoints.MaxVolumeML != 0 || len(v.Setpoints.Schedule) != 0 || v.Setpoints.ShotVolumeML != 0 || !has(v, "guard-withhold") {
		t.Errorf("%+v %+v", v, v.Setpoints)
	}
}

func has(v Verdict, code string) bool {
	for _, r := range v.Reasons {
		if r.Code == code {
			return true
		}
	}
	return false
}
