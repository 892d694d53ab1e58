// Package forecast runs a zone forward: the water content over the coming
// hours under given shots, with the spread that its own past errors justify.
package forecast

import "time"

// Step is the time step of a forecast.
const Step = 5 * time.Minute

// Steps24h is the number of steps in a published forecast.
const Steps24h = 288

// Situation is a zone frozen at one instant with everything that running it
// forward needs. Volumes are mL per container; step k covers the time from
// At + k*Step to At + (k+1)*Step.
type Situation struct {
	At             time.Time
	WaterContent   float64 // m3/m3, mean over the container
	WaterContentSD float64 // m3/m3
	VolumeML       float64 // of the container
	Capacity       float64 // apparent container capacity, m3/m3
	CapacitySD     float64 // m3/m3
	Capture        float64 // share of a shot that stays while the result is below Capacity, 0 to 1
	CaptureSD      float64
	DrainTimeS     float64   // e-folding time of water above Capacity, s
	UptakeML       []float64 // expected uptake of each coming step
	UptakeRelSD    float64   // spread of a day's uptake as a share of it
	UptakeFullAt   float64   // water content below which the crop drinks less, m3/m3; 0: never less
	UptakeNoneAt   float64   // water content at which it drinks nothing, m3/m3; at most UptakeFullAt
	Ceiling        float64   // water content the container cannot exceed for longer than a step, m3/m3; 0: 1
	ErrorSD        []float64 // calibrated sd of the water content by step, same length as UptakeML plus one; nil: derived from the parts above
}

// Shot is a watering at a step of a Situation.
type Shot struct {
	Step     int
	VolumeML float64
}

// Run is the outcome of running a Situation forward.
type Run struct {
	WaterContent []float64 // one more than there are steps; the first is now
	DrainML      []float64 // of each step
	UptakeML     []float64 // of each step, lowered where water is short
}
