package policy

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"rhizostat/policy/hydraulics"
	"rhizostat/policy/plan"
	"rhizostat/policy/sensing"
	"rhizostat/policy/simulator"
)

// season is one drawn facility with its zones, played for days. What the engine
// is told differs from what is true as a site file does from its house: other
// retention, other flow, probes that err.
type season struct {
	seed    uint64
	start   time.Time
	days    int
	weather simulator.Weather
	climate simulator.ClimateProbe
	zones   []seasonZone
	faults  []simulator.Fault
}

// seasonZone is one zone of a season: the truth and what the engine is told.
type seasonZone struct {
	spec       simulator.ZoneSpec
	settings   Settings
	controller simulator.Controller
	approve    time.Duration // how long a person takes to approve
}

const cmPerKPa = 10.19716 // of water at 9.80665 m/s2

// seasonMixes are substrates from fine to coarse. The retention of peat, coir,
// bark and stone wool is anchored on published porosity and capacity (Int. J.
// Agronomy 2012, 978528, table 1; Evans, Konduru & Stamps 1996; Acta
// Agrophysica 10, 113-120); the other two and all conductivities are of the
// order that such media have (common practice, no source).
var seasonMixes = []simulator.Substrate{
	{Name: "peat", TotalPorosity: 0.985, ThetaR: 0.15, ThetaS: 0.97, AlphaPerCM: 0.162, N: 1.6, KsCMPerH: 150, Tortuosity: 5, WettingRatio: 0.6, BypassWet: 0.02, BypassDry: 0.5},
	{Name: "coir", TotalPorosity: 0.93, ThetaR: 0.2, ThetaS: 0.875, AlphaPerCM: 0.197, N: 1.6, KsCMPerH: 300, Tortuosity: 4.5, WettingRatio: 0.7, BypassWet: 0.03, BypassDry: 0.25},
	{Name: "bark", TotalPorosity: 0.82, ThetaR: 0.2, ThetaS: 0.76, AlphaPerCM: 0.6, N: 1.45, KsCMPerH: 1200, Tortuosity: 4, WettingRatio: 0.8, BypassWet: 0.10, BypassDry: 0.45},
	{Name: "peat-perlite", TotalPorosity: 0.92, ThetaR: 0.12, ThetaS: 0.86, AlphaPerCM: 0.25, N: 1.55, KsCMPerH: 500, Tortuosity: 4.5, WettingRatio: 0.65, BypassWet: 0.05, BypassDry: 0.4},
	{Name: "stone-wool", TotalPorosity: 0.965, ThetaR: 0.02, ThetaS: 0.954, AlphaPerCM: 0.0508, N: 2.5, KsCMPerH: 250, Tortuosity: 3.5, WettingRatio: 0.5, BypassWet: 0.02, BypassDry: 0.1},
	{Name: "loam-mix", TotalPorosity: 0.62, ThetaR: 0.08, ThetaS: 0.58, AlphaPerCM: 0.06, N: 1.5, KsCMPerH: 30, Tortuosity: 6, WettingRatio: 0.6, BypassWet: 0.02, BypassDry: 0.2},
}

var seasonPots = []simulator.Container{
	{HeightCM: 15, TopDiameterCM: 17, BottomDiameterCM: 13},
	{HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18},
	{HeightCM: 25, TopDiameterCM: 27, BottomDiameterCM: 22},
	{HeightCM: 30, TopDiameterCM: 32, BottomDiameterCM: 32},
	{HeightCM: 18, LengthCM: 40, WidthCM: 22},
	{HeightCM: 8, LengthCM: 100, WidthCM: 18},
}

// chances draw a season; the harness may use chance, the engine may not.
type chances struct{ *rand.Rand }

func (c chances) between(a, b float64) float64 { return a + (b-a)*c.Float64() }
func (c chances) yes(p float64) bool           { return c.Float64() < p }

// drawSeason draws a season of a few zones.
func drawSeason(seed uint64, zones, days int) season {
	c := chances{rand.New(rand.NewPCG(seed, 0x5ea50))}
	s := season{seed: seed, days: days}
	s.start = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, c.IntN(365))
	s.weather = drawWeather(c)
	s.climate = simulator.ClimateProbe{Every: []time.Duration{2, 5, 10}[c.IntN(3)] * time.Minute, Inside: c.yes(0.5), TellsPPFD: c.yes(0.2), Noise: 0.02,
		CelBias: 0.3 * c.NormFloat64(), RHBias: 2 * c.NormFloat64()}
	for len(s.zones) < zones {
		if z, ok := drawZone(c, &s, len(s.zones)); ok {
			s.zones = append(s.zones, z)
		}
	}
	return s
}

func drawWeather(c chances) simulator.Weather {
	w := simulator.Weather{
		Latitude: c.between(-45, 58), Longitude: c.between(-6, 6), MeanCel: c.between(9, 19), SeasonCel: c.between(5, 10), DayCel: c.between(3, 7),
		Cloud: c.between(0.05, 0.5), Changeable: c.between(0.2, 1), Cover: c.between(0.5, 0.8), HeatCel: c.between(13, 19), GreenhouseCel: c.between(5, 12), Humid: c.between(0.7, 0.9),
	}
	switch c.IntN(6) {
	case 0: // outdoors
		w.Cover, w.GreenhouseCel, w.HeatCel = 1, 0, -100
		w.MeanCel = c.between(15, 21)
	case 1: // a room under lamps
		w.Dark, w.HeatCel, w.Humid = true, c.between(20, 24), c.between(0.6, 0.8)
		w.LampsW, w.LampsFrom, w.LampsTo = c.between(120, 250), 6, c.between(18, 23)
	case 2: // lamps beside the sun
		w.LampsW, w.LampsFrom, w.LampsTo = c.between(40, 90), 4, c.between(18, 21)
	}
	return w
}

// drawZone draws one zone; false when its band would make no sense in its pot.
func drawZone(c chances, s *season, index int) (seasonZone, bool) {
	mix, pot := seasonMixes[c.IntN(len(seasonMixes))], seasonPots[c.IntN(len(seasonPots))]
	told := mix
	mix.AlphaPerCM *= math.Exp(0.12 * c.NormFloat64())
	mix.N = 1 + (mix.N-1)*math.Exp(0.08*c.NormFloat64())
	mix.KsCMPerH *= math.Exp(0.5 * c.NormFloat64())
	shift := c.between(-0.02, 0.01)
	mix.ThetaS, mix.TotalPorosity = mix.ThetaS+shift, mix.TotalPorosity+shift
	volume := pot.VolumeML()
	daily := volume * c.between(0.07, 0.2) // what the crop drinks on a middling day
	crop := drawCrop(c)
	crop.GroundM2 = daily / 2200
	if s.weather.Dark {
		crop.GroundM2 = daily / 3500
	}
	flowLPerH := []float64{1, 2, 2, 3, 4, 8}[c.IntN(6)]
	emitters := 1
	for flowLPerH*float64(emitters)*1000/60 < volume*0.004 { // 5 % of the pot in 12 min or less
		emitters++
	}
	containers := 3 + c.IntN(3)
	spec := simulator.ZoneSpec{
		Name: fmt.Sprintf("z%d", index), Substrate: mix, Container: pot, Crop: crop, Containers: containers,
		EmitterMLPerS: flowLPerH * float64(emitters) / 3.6, EmitterBias: c.between(-0.06, 0.04), EmitterSpread: c.between(0.02, 0.05),
		FeedEC: c.between(1, 2.8), StartSuctionCM: c.between(1, 12),
		TellsVolume: c.yes(0.75), Totals: c.yes(0.25), TellsValve: c.yes(0.5), TellsFeedEC: c.yes(0.5), TellsDrainEC: true,
	}
	if c.yes(0.5) {
		spec.DrainEvery = []time.Duration{5, 15, 60}[c.IntN(3)] * time.Minute
	}
	z := seasonZone{spec: spec, approve: time.Duration(c.IntN(180)) * time.Minute}
	z.settings = Settings{
		Site: "north", Zone: spec.Name, Location: time.UTC, Latitude: s.weather.Latitude, Longitude: s.weather.Longitude,
		Substrate: hydraulics.Substrate{Name: told.Name, TotalPorosity: told.TotalPorosity, Provenance: hydraulics.FromSite,
			Retention: hydraulics.Retention{ThetaR: told.ThetaR, ThetaS: told.ThetaS, AlphaPerKPa: told.AlphaPerCM * cmPerKPa, N: told.N}},
		Container: hydraulics.Container{Name: "pot", HeightCM: pot.HeightCM, TopDiameterCM: pot.TopDiameterCM, BottomDiameterCM: pot.BottomDiameterCM,
			LengthCM: pot.LengthCM, WidthCM: pot.WidthCM, Wall: hydraulics.Solid},
		ContainerCount: 200, Emitters: Emitters{PerContainer: emitters, FlowLPerH: flowLPerH}, Climate: "house",
		Day:      DayMarks{Start: DayMark{AfterMidnight: 6 * time.Hour}, End: DayMark{AfterMidnight: time.Duration(c.between(17, 20)*4) * 15 * time.Minute}},
		Quorum:   1,
		FeedEC:   spec.FeedEC,
		Aeration: hydraulics.DefaultAeration,
		Limits:   plan.Limits{MaxShotML: math.Round(volume * 0.06), MaxDailyML: math.Round(volume * 0.7), MinIntervalMin: 15}, Priorities: plan.DefaultPriorities(),
		IssueBeforeDay: 12 * time.Hour, DecideBeforeFirstShot: 10 * time.Minute, StateEvery: 5 * time.Minute,
	}
	if c.yes(0.4) {
		z.settings.Day = DayMarks{Start: DayMark{Sun: Sunrise}, End: DayMark{Sun: Sunset}}
	}
	drawProbes(c, &z)
	z.controller = simulator.Controller{ByClock: c.yes(0.5), Timer: simulator.Timer{Start: 7 * time.Hour, Every: 80 * time.Minute, Count: 8, VolumeML: math.Round(daily * 1.2 / 8)}}
	if !z.controller.ByClock && c.yes(0.3) {
		z.controller.OwnProbe = z.settings.Probes[0].ID
	}
	return z, drawBand(c, &z, daily/volume)
}

func drawCrop(c chances) simulator.Crop {
	leaf := c.between(0.8, 2.5)
	return simulator.Crop{
		LeafArea: leaf, LeafAreaFull: leaf * c.between(1.2, 2.5), GrowthPerDay: c.between(0.02, 0.1), RadiationShare: c.between(0.3, 0.6),
		AerodynamicDay: c.between(8, 30), AerodynamicNight: c.between(4, 12), SpreadPlants: c.between(0.03, 0.10), SpreadDays: c.between(0.02, 0.08),
		RootDepth: c.between(0.3, 0.8), RootDepthFull: c.between(1, 2), RootShare: 0.01, RootShareFull: c.between(0.02, 0.05),
		StressSuctionCM: c.between(150, 500), UptakeEC: c.between(0.6, 1.6),
	}
}

func drawProbes(c chances, z *seasonZone) {
	height := z.spec.Container.HeightCM * c.between(0.3, 0.5)
	every := []time.Duration{1, 5, 5, 10, 15}[c.IntN(5)] * time.Minute
	for i := range 1 + c.IntN(3) {
		p := simulator.Probe{
			ID: fmt.Sprintf("p%d", i+1), Container: i % z.spec.Containers, HeightCM: math.Round(height*10) / 10, SensingLengthCM: []float64{0, 2, 5}[c.IntN(3)], Every: every,
			Gain: 1 + 0.03*c.NormFloat64(), Bias: 0.02 * c.NormFloat64(), Noise: c.between(0.0005, 0.004), Resolution: []float64{0.0001, 0.001, 0.001, 0.01}[c.IntN(4)],
			DriftPerDay: 0.0003 * c.NormFloat64(), Near: c.between(0, 0.3), Dropout: c.between(0, 0.03), Doubled: 0.01, Late: c.between(0, 0.02), LateBy: 20 * time.Minute,
			TellsEC: c.yes(0.6), TellsTemperature: c.yes(0.7),
		}
		told := Probe{ID: p.ID, HeightCM: p.HeightCM, SensingLengthCM: p.SensingLengthCM}
		if i == 1 && c.yes(0.25) { // a scale stands beside the probe
			p.WeighsFromKG, p.CropKGPerM2, p.TellsEC, p.TellsTemperature = z.spec.Container.VolumeML()*0.00025, 0.3, false, false
			told.Calibration = sensing.Calibration{Kind: sensing.Weight, TareKG: p.WeighsFromKG, VolumeML: z.spec.Container.VolumeML(),
				CropKG: p.CropKGPerM2 * z.spec.Crop.LeafArea * z.spec.Crop.GroundM2}
		}
		if p.TellsEC {
			p.TellsPermittivity, told.Calibration.PoreEC = true, sensing.Hilhorst
		}
		z.spec.Probes = append(z.spec.Probes, p)
		z.settings.Probes = append(z.settings.Probes, told)
	}
}

// drawBand gives a zone the band of its physics or plain numbers, with a night
// that its crop can dry.
func drawBand(c chances, z *seasonZone, daily float64) bool {
	profile, err := hydraulics.NewProfile(z.settings.Substrate, z.settings.Container)
	if err != nil {
		return false
	}
	spec := hydraulics.BandSpec{OvernightDryback: math.Round(daily*c.between(0.25, 0.55)*100) / 100, DrainFraction: math.Round(c.between(0.08, 0.25)*100) / 100}
	if c.yes(0.4) {
		full := math.Round((profile.ContainerCapacity()-c.between(0, 0.03))*100) / 100
		full = math.Min(full, profile.TotalPorosity()-0.12)
		refill := math.Round((full-math.Max(daily*c.between(0.6, 1.1), 0.04))*100) / 100
		spec.FullPoint, spec.RefillPoint = &full, &refill
	}
	z.settings.Band = spec
	band, err := hydraulics.NewBand(profile, spec)
	return err == nil && band.FullPoint-band.RefillPoint > math.Max(0.03, spec.OvernightDryback*1.05)
}
