// Package plan finds the irrigation day: it runs candidate days forward through
// the learned balance and takes the cheapest, keeps it while keeping it is
// cheap, and rounds it to numbers a controller accepts.
package plan

// Limits are a site's hard limits on one container of a zone.
type Limits struct {
	MaxShotML      float64
	MaxDailyML     float64
	MinIntervalMin float64
}

// Priorities weigh what a day costs; each is relative to 1, its default.
type Priorities struct {
	Band             float64 // time outside the band
	Saturation       float64 // saturated time
	OvernightDryback float64 // off its target
	DrainFraction    float64 // off its target
	PoreEC           float64 // off its target
	Shots            float64 // their number
}

// DefaultPriorities are all 1.
func DefaultPriorities() Priorities { return Priorities{1, 1, 1, 1, 1, 1} }
