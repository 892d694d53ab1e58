package policy

import (
	"math"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/guard"
	"rhizostat/policy/plan"
)

// maxDataAge is how old the newest water content may be for water to be
// advised (common practice, no source).
const maxDataAge = time.Hour

// thirsty is how many standard deviations above the expected uptake a thirsty
// day lies: one day in forty is thirstier.
const thirsty = 2

// guardInput is what the guard holds an advice against.
func (z *Zone) guardInput(at int64, day IrrigationDay, r *plan.Request, a *advice.Advice) guard.Input {
	s := r.Situation
	uptake := 0.0
	until := int(math.Ceil(day.Next.Sub(s.At).Minutes() / forecast.Step.Minutes()))
	for _, ml := range s.UptakeML[:max(0, min(until, len(s.UptakeML)))] {
		uptake += ml
	}
	level, _, _ := z.m.Learned.WaterContent()
	return guard.Input{
		Now: instant(at), WindowStart: day.Start, WindowEnd: day.Next, Earliest: r.Earliest, Location: z.settings.Location,
		MaxShotML: z.ground.limits.MaxShotML, MaxDailyML: z.ground.limits.MaxDailyML, MinIntervalMin: z.ground.limits.MinIntervalMin,
		VolumeML: z.ground.constants.VolumeML, TotalPorosity: r.TotalPorosity, Capacity: s.Capacity,
		FullPoint: r.Band.FullPoint, RefillPoint: r.Band.RefillPoint, SaturationPoint: r.SaturationPoint,
		MostUptakeML: uptake * (1 + thirsty*math.Max(s.UptakeRelSD, 0)), BandDrain: r.Band.DrainFraction, FlowMLPerS: r.FlowMLPerS,
		WaterContent: level, Quorum: r.Quorum, DataAge: time.Duration(at-min(z.m.Learned.SeenMs, z.m.Panel.Consensus.NewestMs)) * time.Millisecond, MaxDataAge: maxDataAge,
		GivenML: r.GivenML, LastShotAt: r.LastShotAt,
		PoreEC: r.Salt.PoreEC, PoreKnown: r.Salt.PoreKnown, FeedEC: r.Salt.FeedEC, FeedKnown: r.Salt.FeedKnown,
		Recovering: r.Recovering,
	}
}
