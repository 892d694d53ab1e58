package wire

import (
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
)

// day0 is the irrigation day that the messages of these tests are about.
var day0 = time.Date(2026, 11, 25, 6, 0, 0, 0, time.UTC)

// sampleAdvice is an irrigate advice with every member in use.
func sampleAdvice() *advice.Advice {
	first := day0.Add(70 * time.Minute)
	return &advice.Advice{
		ID: "01M87DQ400V3T0W8M2K4R7N9XC", Site: "north", Zone: "bench-07",
		IssuedAt: day0.Add(-11*time.Hour - 20*time.Minute + 417*time.Millisecond), ValidFrom: day0, ValidUntil: day0.Add(24 * time.Hour),
		Action: advice.Irrigate,
		Setpoints: &advice.Setpoints{
			FirstShotAt: first, LastShotBy: first.Add(510 * time.Minute),
			TriggerWaterContent: 0.52, TargetWaterContent: 0.6,
			TriggerByProbe: []advice.ProbeTrigger{{Probe: "p1", WaterContent: 0.55}, {Probe: "p2", WaterContent: 0.5512345}},
			ShotVolumeML:   150, RunTimeS: 270, MinIntervalS: 1200, MaxVolumeML: 1650, DrainFraction: 0.12,
			Schedule: []advice.Shot{{At: first, VolumeML: 150, RunTimeS: 270}, {At: first.Add(time.Hour), VolumeML: 150, RunTimeS: 270}},
		},
		Expected: &advice.Expected{
			PeakWaterContent: 0.61, TroughWaterContent: 0.49, OvernightDryback: 0.12,
			MinAirFilledPorosity: 0.24, UptakeML: 1310, DrainML: 180,
		},
		Reasons:    []advice.Reason{{Code: "refill-point-ahead", Text: "the zone reaches its refill point at 07:10"}},
		Confidence: 0.8649, DecideBy: first.Add(-10 * time.Minute),
		Cautions: []advice.Reason{{Code: "probe-stale", Text: "probe p2 is 20 min old"}},
	}
}

func sampleWithhold() *advice.Advice {
	a := sampleAdvice()
	a.ID, a.Action = "01M87DQ400V3T0W8M2K4R7N9XD", advice.Withhold
	a.Setpoints = &advice.Setpoints{TriggerWaterContent: 0.47}
	return a
}

func sampleInspect() *advice.Advice {
	a := sampleAdvice()
	a.ID, a.Action = "01M87DQ400V3T0W8M2K4R7N9XE", advice.Inspect
	a.Setpoints, a.Expected, a.DecideBy = nil, nil, time.Time{}
	return a
}

func mustFrom(t testing.TB, a *advice.Advice) *Advice {
	t.Helper()
	w, err := FromAdvice(a)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func ptr(v float64) *float64 { return &v }

// sampleState is a state with every member in use.
func sampleState() *policy.State {
	return &policy.State{
		Time: day0.Add(185 * time.Minute), Known: true,
		WaterContent: 0.57104, WaterContentSD: 0.006, AirFilledPorosity: 0.3, AvailableWaterML: 1450.4,
		SaturatedShare: 0.02, SaturationS24h: 0, AerationMargin: -0.11004,
		FullPoint: 0.6, RefillPoint: 0.5, Position: "in", PartOfDay: "hold",
		RunningDryback: 0.04, LastDryback: 0.11, LastDrybackShare: 0.19, OvernightDryback: 0.12,
		UptakeML24h: 1210, IrrigationML24h: 1500, DrainML24h: 170, DrainFraction24h: 0.1133333,
		PoreEC: ptr(2.904), SubstrateTemp: ptr(21.44), DesignCapacity: 0.62, ApparentCapacity: 0.6,
		StabilityIndex: 0.931, Quorum: true,
		Diagnosis: []policy.Finding{{
			Cause: "emitter-fault", Probability: 0.8123, Since: day0.Add(-26 * time.Hour),
			Evidence: []advice.Reason{{Code: "capture-low", Text: "a shot of 150 mL raised the water content by \"0.004\", not 0.02 \u2014 twice"}},
			LookAt:   "the emitters of the container with probe p1",
		}},
		Probes: []policy.ProbeState{
			{ID: "p1", Health: "ok", AgeS: 30.2, WaterContent: 0.57, Seen: true},
			{ID: "p2", Health: "stale"},
		},
	}
}

func sampleForecast() *policy.Forecast {
	course := func(base float64) policy.Course {
		var c policy.Course
		for i := range 289 {
			v := base - float64(i)*0.00021
			c.WaterContent = append(c.WaterContent, v)
			c.Low = append(c.Low, v-0.01)
			c.High = append(c.High, v+0.01)
		}
		return c
	}
	return &policy.Forecast{IssuedAt: day0, Level: 0.9, Plan: course(0.57), NoWater: course(0.55), AsUsual: course(0.56)}
}
