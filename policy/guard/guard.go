// Package guard is the last gate before an advice: rules that trust nothing
// before them. It only lowers or stops, doing it twice changes nothing, and it
// says what it did. Apply is the entry point; each rule is a function in
// rules.go.
package guard

import (
	"time"

	"rhizostat/policy/advice"
)

// Input is what an advice is held against. Volumes are mL per container; a
// number that is not known is 0 unless its comment says otherwise.
type Input struct {
	Now         time.Time
	WindowStart time.Time // no shot before: the irrigation day starts
	WindowEnd   time.Time // none at or after: the next one starts
	Earliest    time.Time // no shot before: a person must have had time to decide; zero: none
	Location    *time.Location

	MaxShotML      float64
	MaxDailyML     float64
	MinIntervalMin float64

	VolumeML        float64 // of the container
	TotalPorosity   float64 // m3/m3
	Capacity        float64 // apparent container capacity, m3/m3
	FullPoint       float64 // m3/m3
	RefillPoint     float64 // m3/m3
	SaturationPoint float64 // mean water content above which roots lack air, m3/m3; 0: never
	MostUptakeML    float64 // that the crop may drink from now to WindowEnd, of a thirsty day
	BandDrain       float64 // drain fraction the site wants, 0 to 1
	FlowMLPerS      float64

	WaterContent float64 // now, m3/m3
	Quorum       bool
	DataAge      time.Duration // of the newest accepted water content
	MaxDataAge   time.Duration
	GivenML      float64 // since WindowStart
	LastShotAt   time.Time

	PoreEC, FeedEC       float64 // mS/cm
	PoreKnown, FeedKnown bool
	Recovering           bool
}

// Verdict is what is left of an advice.
type Verdict struct {
	Action    advice.Action
	Setpoints *advice.Setpoints // nil where stopped; the guard's own copy
	Reasons   []advice.Reason   // what it did, in the order of the rules; empty: nothing
	Stopped   bool
}

// rule is one thing that an advice must satisfy.
type rule func(in *Input, v *Verdict)

// rules in their order: what stops comes first, then what lowers single numbers,
// then what follows from them.
var rules = [...]rule{
	usableInput, knownAction, wellFormed, clock, quorum, freshData, possibleWater,
	air, leachAllowed, drain, shotLimit, shotRoom, runTimes, dailyLimit, containerRoom,
	interval, window, closeShots, scheduleVolume, target, trigger, probeTriggers, nothingLeft,
}

// Apply holds an advice against the rules and returns what is left of it. It
// changes nothing that it was given. An inspect passes as it is, without
// setpoints. A stopped advice is an inspect.
func Apply(in Input, action advice.Action, sp *advice.Setpoints) Verdict {
	v := Verdict{Action: action, Setpoints: sp.Clone()}
	if action == advice.Inspect {
		v.Setpoints = nil
		return v
	}
	if in.Location == nil {
		in.Location = time.UTC
	}
	for _, r := range rules {
		if r(&in, &v); v.Stopped {
			break
		}
	}
	return v
}

// stop ends an advice: a person must look.
func (v *Verdict) stop(code string, values ...advice.Value) {
	v.say(code, values...)
	v.Action, v.Setpoints, v.Stopped = advice.Inspect, nil, true
}

func (v *Verdict) say(code string, values ...advice.Value) {
	v.Reasons = append(v.Reasons, advice.Say(code, values...))
}

// waters tells whether the advice gives water at all.
func (v *Verdict) waters() bool { return v.Action == advice.Irrigate || v.Action == advice.Leach }
