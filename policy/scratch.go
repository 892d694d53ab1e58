package policy

import (
	"rhizostat/policy/diagnose"
	"rhizostat/policy/forecast"
	"rhizostat/policy/plan"
)

// Scratch is memory that a step works in: nothing in it outlives the step, and no
// Output refers to it. One serves any number of zones that are stepped one after the
// other, see Shared. The zero value is ready.
type Scratch struct {
	situation forecast.Situation
	planned   forecast.Situation
	forecasts forecast.Scratch
	published forecast.Published
	plan      plan.Scratch
	diagnosis diagnose.Inputs
	standing  []*planned // by coming step, nil: none
	ways      [2 * len(forecast.Thirst)]forecast.Way
	wayShots  [2 * len(forecast.Thirst)][]forecast.Shot
	scored    [3 * forecast.HorizonCount]forecast.Scored
	out       Output // of the running step, which takes it along
}

// today is the irrigation day that a zone is in, which can be worked out anew.
type today struct {
	day           IrrigationDay
	known         bool
	fromMs, endMs int64
}
