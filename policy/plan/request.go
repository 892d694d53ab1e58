package plan

import (
	"fmt"
	"math"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/hydraulics"
)

// Request is all that a plan rests on. Volumes are mL per container.
type Request struct {
	// Situation is the zone now; its uptake must reach beyond DayStart, and
	// should reach some hours beyond NextDayStart, so that the night ends in it.
	Situation *forecast.Situation
	// Committed are the shots still coming before DayStart, or in the day that is planned
	// and runs already those of the plan in force before Earliest: nobody takes it back
	// before a person has decided on the next. In order.
	Committed []forecast.Shot

	DayStart, DaytimeEnd, NextDayStart time.Time
	Location                           *time.Location // for the clock in reasons

	Band            hydraulics.Band
	SaturationPoint float64 // mean water content above which the zone is saturated, m3/m3; 0: never
	TotalPorosity   float64 // m3/m3
	Limits          Limits
	Wasted          bool // the day's limit is lower than the site's, because most of the last day's water drained
	Priorities      Priorities
	FlowMLPerS      float64 // into one container; 0 unknown: no run times, whole mL only
	Salt            Salt

	// LevelSD is how far the whole zone's water content may lie off what its probes
	// make of it, m3/m3: they may all be off alike.
	LevelSD float64
	// ReadsLow is by how much the probes are taken to read low, m3/m3, because the
	// container seems to hold less than its physics makes of it, Holds. The full point and
	// the saturation point, which are true ones, are planned for so much lower.
	ReadsLow, Holds float64
	// CapacityShift is how much higher than the learned capacity shots begin to
	// run through, as the drain of past days tells, m3/m3; mostly below 0.
	CapacityShift float64
	// Gain is how much the water content of the situation, which is what probes see,
	// moves for one of the container's mean; 0 is 1. The band's overnight dryback is of
	// the container's mean, its edges are of what is seen.
	Gain float64
	// ByClock is how likely the zone's controller runs the schedule rather than
	// the trigger, 0 to 1; 0.5 where nothing is known.
	ByClock float64

	Recovering      bool
	Quorum          bool // enough probes are healthy
	Healthy, Needed int  // probes, for the words only

	Earliest time.Time         // no shot before: a person must have had time to decide
	Previous *advice.Setpoints // the plan before, for small changes; nil: none
	Probes   []ProbeReading    // sorted by id

	// What has happened, where the planned day is running already; LastPeak
	// serves a day that has yet to start, too.
	LastPeak      float64   // of the last irrigation day, m3/m3; 0 unknown
	LastShotAt    time.Time // zero: none lately
	GivenML       float64   // since DayStart, and Committed of the running day
	TargetReached bool      // the rewet of the day is over
}

// ProbeReading says what one probe reads when the container's mean is known.
type ProbeReading struct {
	ID      string
	Reading func(mean float64) float64 // m3/m3 to m3/m3, rising
}

// Proposal is the best plan found. Setpoints and Expected are nil for Inspect.
type Proposal struct {
	Action    advice.Action
	Setpoints *advice.Setpoints
	Expected  *advice.Expected
	Score     Score
	Reasons   []advice.Reason
	// LimitBinds tells that a site limit keeps the zone from being in its band.
	LimitBinds bool
}

// check panics with the numbers where the request cannot be planned.
func (r *Request) check() {
	if r.Situation == nil || r.Location == nil {
		panic("plan: a request needs a situation and a location")
	}
	reach := r.Situation.At.Add(time.Duration(len(r.Situation.UptakeML)) * forecast.Step)
	if !r.NextDayStart.After(r.DayStart) || !reach.After(r.DayStart) || !r.NextDayStart.After(r.Situation.At) {
		panic(fmt.Sprintf("plan: day %v to %v cannot be planned at %v with uptake until %v", r.DayStart, r.NextDayStart, r.Situation.At, reach))
	}
	for _, x := range [...]float64{r.Band.FullPoint, r.Band.RefillPoint, r.Band.OvernightDryback, r.Band.DrainFraction,
		r.SaturationPoint, r.Limits.MaxShotML, r.Limits.MaxDailyML, r.Limits.MinIntervalMin, r.FlowMLPerS, r.LastPeak, r.GivenML, r.Gain, r.ReadsLow} {
		if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
			panic(fmt.Sprintf("plan: %v is not a possible band, limit or volume: %+v, %+v", x, r.Band, r.Limits))
		}
	}
	if !(r.Band.FullPoint > r.Band.RefillPoint) || r.Band.DrainFraction >= 1 {
		panic(fmt.Sprintf("plan: a band from %v to %v with a drain fraction of %v", r.Band.RefillPoint, r.Band.FullPoint, r.Band.DrainFraction))
	}
}
