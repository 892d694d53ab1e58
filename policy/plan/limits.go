// Package plan finds the irrigation day: it runs candidate days forward through
// the learned balance and takes the cheapest, keeps it while keeping it is
// cheap, and rounds it to numbers a controller accepts.
package plan

import (
	"math"

	"rhizostat/policy/hydraulics"
)

// Limits are a site's hard limits on one container of a zone.
type Limits struct {
	MaxShotML      float64
	MaxDailyML     float64
	MinIntervalMin float64
	// OfContainer: the site says no volumes, or not both; what it does not say follows
	// from the container and changes with it.
	OfContainer LimitsOfContainer
}

// LimitsOfContainer tells which volumes follow from the container.
type LimitsOfContainer struct{ Shot, Daily bool }

// What follows from a container.
const (
	shotShare     = 0.05 // of its volume
	dailyShare    = 1.5  // of the water between container capacity and lowestSuction
	volumeShare   = 0.5  // of its volume, where that is more: coarse substrate holds so little that it is watered many times a day
	lowestSuction = 10.0 // kPa, the end of the buffering water (de Boodt & Verdonck 1972)
)

// For returns the limits for a container: volumes that the site says are its own
// whatever it is, the others follow from its physics. Whole mL.
func (l Limits) For(p *hydraulics.Profile) Limits {
	volume := p.VolumeML()
	if l.OfContainer.Shot {
		l.MaxShotML = math.Max(1, math.Round(shotShare*volume)) // shots are whole mL
		if !l.OfContainer.Daily {
			l.MaxShotML = min(l.MaxShotML, l.MaxDailyML)
		}
	}
	if l.OfContainer.Daily {
		l.MaxDailyML = max(math.Round(dailyShare*p.AvailableML(p.ContainerCapacity(), lowestSuction)), math.Round(volumeShare*volume), l.MaxShotML)
	}
	return l
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
