// Package demo plays an invented facility: a broker in process, simulated pots
// whose truth is known, their weather, and a controller that obeys approved
// setpoints and falls back to its own timer. It shows the loop closed and
// measures it against the timer alone; the plants and the place do not exist.
package demo

import (
	_ "embed"
	"time"

	"rhizostat/policy/simulator"
)

// SiteFile is the demo's site file, as a grower would write it.
//
//go:embed site.yaml
var SiteFile []byte

// Site is its name.
const Site = "meadow"

// TimeZone is the site's: sentences tell its clock.
const TimeZone = "Europe/Rome"

// start is the simulated morning on which the demo begins.
var start = time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)

// offset is the site's local time less UTC on those days.
const offset = 2 * time.Hour

// troubled is the zone that gets trouble, and when.
const (
	troubled     = 2
	troubleAfter = 30 * time.Hour
)

var weather = simulator.Weather{
	Latitude: 45, Longitude: 8, MeanCel: 13, SeasonCel: 9, DayCel: 5, Cloud: 0.25, Changeable: 0.5,
	Cover: 0.68, HeatCel: 15, GreenhouseCel: 8, Humid: 0.82,
}

// crop is a leafy fruit crop on the ground that one container has.
func crop(groundM2 float64) simulator.Crop {
	return simulator.Crop{
		GroundM2: groundM2, LeafArea: 1.8, LeafAreaFull: 3, GrowthPerDay: 0.05, RadiationShare: 0.5, AerodynamicDay: 18, AerodynamicNight: 9,
		SpreadPlants: 0.08, SpreadDays: 0.05, RootDepth: 0.8, RootDepthFull: 1.5, RootShare: 0.01, RootShareFull: 0.03, StressSuctionCM: 250, UptakeEC: 1.6,
	}
}

func probes(heightCM float64) []simulator.Probe {
	return []simulator.Probe{
		{ID: "p1", Container: 0, HeightCM: heightCM, SensingLengthCM: 2, Every: time.Minute, Noise: 0.002, Resolution: 0.001, Near: 0.1, TellsEC: true, TellsTemperature: true},
		{ID: "p2", Container: 2, HeightCM: heightCM, SensingLengthCM: 2, Every: time.Minute, Noise: 0.003, Bias: 0.015, Resolution: 0.001, Dropout: 0.01, Doubled: 0.01},
	}
}

// zones are the simulated truth behind the site file.
func zones() []simulator.ZoneSpec {
	zone := func(name string, s simulator.Substrate, c simulator.Container, groundM2, flowLPerH float64) simulator.ZoneSpec {
		return simulator.ZoneSpec{
			Name: name, Substrate: s, Container: c, Crop: crop(groundM2), Containers: 4,
			EmitterMLPerS: flowLPerH / 3.6, EmitterSpread: 0.04, FeedEC: 2.2, StartSuctionCM: 4, Probes: probes(0.35 * c.HeightCM),
			TellsVolume: true, TellsValve: true, DrainEvery: 15 * time.Minute, TellsDrainEC: true,
		}
	}
	coir := simulator.Substrate{TotalPorosity: 0.92, ThetaR: 0.08, ThetaS: 0.90, AlphaPerCM: 1.6 / kPaPerCM, N: 1.75,
		KsCMPerH: 300, Tortuosity: 4.5, WettingRatio: 0.7, BypassWet: 0.03, BypassDry: 0.3}
	peat := simulator.Substrate{TotalPorosity: 0.95, ThetaR: 0.15, ThetaS: 0.93, AlphaPerCM: 1.7 / kPaPerCM, N: 1.6,
		KsCMPerH: 150, Tortuosity: 5, WettingRatio: 0.6, BypassWet: 0.02, BypassDry: 0.4}
	bark := simulator.Substrate{TotalPorosity: 0.82, ThetaR: 0.22, ThetaS: 0.78, AlphaPerCM: 6 / kPaPerCM, N: 1.45,
		KsCMPerH: 900, Tortuosity: 4, WettingRatio: 0.8, BypassWet: 0.06, BypassDry: 0.4}
	wool := simulator.Substrate{TotalPorosity: 0.965, ThetaR: 0.02, ThetaS: 0.954, AlphaPerCM: 0.52 / kPaPerCM, N: 2.5,
		KsCMPerH: 200, Tortuosity: 4, WettingRatio: 0.6, BypassWet: 0.01, BypassDry: 0.1}
	return []simulator.ZoneSpec{
		zone("bench-1", coir, simulator.Container{HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18}, 0.26, 2),
		zone("bench-2", peat, simulator.Container{HeightCM: 15, TopDiameterCM: 19, BottomDiameterCM: 14}, 0.15, 2),
		zone("pots-out", bark, simulator.Container{HeightCM: 24, TopDiameterCM: 28, BottomDiameterCM: 23}, 0.35, 4),
		zone("slab-1", wool, simulator.Container{HeightCM: 10, LengthCM: 33, WidthCM: 20}, 0.3, 2),
	}
}

// kPaPerCM turns a scale per kPa into one per cm of water: 1 kPa is 10.197 cm.
const kPaPerCM = 10.197162129779283

// timers are the programmes that the controller falls back to: what somebody
// once set for a hot day and never changed.
var timers = []simulator.Timer{
	{Start: 7 * time.Hour, Every: 75 * time.Minute, Count: 9, VolumeML: 220},
	{Start: 7 * time.Hour, Every: 75 * time.Minute, Count: 9, VolumeML: 130},
	{Start: 7 * time.Hour, Every: 75 * time.Minute, Count: 9, VolumeML: 300},
	{Start: 7 * time.Hour, Every: 60 * time.Minute, Count: 11, VolumeML: 240},
}

// trouble is what goes wrong: emitters of one zone clog over a few hours until a seventh
// of their flow is left.
func trouble() simulator.Fault {
	return simulator.Fault{
		Kind: simulator.EmitterBlocked, Zone: troubled, From: start.Add(troubleAfter), Onset: 3 * time.Hour, Severity: 0.85, Container: -1, Probe: -1,
	}
}

// facility is the scenario at its start.
func facility(seed uint64) (*simulator.Facility, error) {
	f, err := simulator.NewFacility(seed, weather, simulator.ClimateProbe{Every: time.Minute, Inside: true, Noise: 0.02}, zones(), start)
	if err != nil {
		return nil, err
	}
	f.Inject(trouble())
	return f, nil
}
