package simulator

import (
	"time"
)

var spring = time.Date(2026, 4, 20, 0, 0, 0, 0, time.UTC)

var southern = Weather{Latitude: 37, Longitude: -2, MeanCel: 18, SeasonCel: 8, DayCel: 5, Cloud: 0.2, Changeable: 0.6,
	Cover: 0.65, HeatCel: 14, GreenhouseCel: 9, Humid: 0.85}

var leafy = Crop{GroundM2: 0.28, LeafArea: 1.5, LeafAreaFull: 3, GrowthPerDay: 0.06, RadiationShare: 0.5, AerodynamicDay: 18, AerodynamicNight: 9,
	SpreadPlants: 0.1, SpreadDays: 0.06, RootDepth: 0.5, RootDepthFull: 1.5, RootShare: 0.01, RootShareFull: 0.03, StressSuctionCM: 250, UptakeEC: 1.6}

// benches gives zones of different mixes with four containers each.
func benches() []ZoneSpec {
	var out []ZoneSpec
	for i, mix := range mixes {
		shape := shapes[1]
		ground := 0.28
		if i == 3 {
			shape, ground = shapes[2], 0.9
		}
		crop := leafy
		crop.GroundM2 = ground
		out = append(out, ZoneSpec{
			Name: mix.Name, Substrate: mix, Container: shape, Crop: crop, Containers: 4,
			EmitterMLPerS: 2.0 / 3.6, EmitterSpread: 0.05, FeedEC: 2.2, StartSuctionCM: 3,
			Probes: []Probe{
				{ID: "p1", Container: 0, HeightCM: shape.HeightCM * 0.35, SensingLengthCM: 2, Every: 5 * time.Minute, Noise: 0.003, Resolution: 0.001, Near: 0.2, TellsEC: true, TellsTemperature: true},
				{ID: "p2", Container: 2, HeightCM: shape.HeightCM * 0.35, SensingLengthCM: 2, Every: 5 * time.Minute, Noise: 0.004, Bias: 0.02, Resolution: 0.001, Dropout: 0.01, Doubled: 0.01, Late: 0.02, LateBy: 10 * time.Minute},
			},
			TellsVolume: true, TellsValve: true, DrainEvery: 15 * time.Minute, TellsDrainEC: true,
		})
	}
	return out
}

// timed plays days of a facility whose zones are watered by timers, and calls
// each with the facility at the end of every day.
func timed(f *Facility, days int, volumeML float64, count int, each func(day int)) {
	n := len(f.zones)
	controllers := make([]Controller, n)
	for i := range controllers {
		controllers[i].Timer = Timer{Start: 7 * time.Hour, Every: 75 * time.Minute, Count: count, VolumeML: volumeML}
	}
	start := f.Now()
	for d := range days {
		for m := range 1440 {
			now := start.Add(time.Duration(d*1440+m) * time.Minute)
			for i := range controllers {
				if v := controllers[i].Due(now); v > 0 {
					f.Open(i, v)
				}
			}
			f.Advance(now.Add(time.Minute))
			f.Measurements()
		}
		each(d)
	}
}
