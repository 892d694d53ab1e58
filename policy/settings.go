package policy

import (
	"time"

	"rhizostat/policy/hydraulics"
	"rhizostat/policy/plan"
	"rhizostat/policy/sensing"
)

// Settings is all that the engine is told about a zone. It is read only, for the engine
// keeps it; a reload makes a new one.
type Settings struct {
	Site, Zone string
	Location   *time.Location // local time of the site
	Latitude   float64        // degrees north
	Longitude  float64        // degrees east

	Substrate      hydraulics.Substrate
	Container      hydraulics.Container
	ContainerCount int
	Emitters       Emitters
	Climate        string // id of the climate, "" when the zone has none
	Day            DayMarks
	Probes         []Probe // sorted by id, at most MaxProbes
	Quorum         int     // healthy probes needed for an irrigate advice
	FeedEC         float64 // mS/cm, 0 when not told

	Band       hydraulics.BandSpec
	Stages     []Stage // sorted by From; each may replace Band
	Aeration   hydraulics.Aeration
	Limits     plan.Limits
	Priorities plan.Priorities

	IssueBeforeDay        time.Duration // before the day starts
	DecideBeforeFirstShot time.Duration
	StateEvery            time.Duration

	// Pots are the containers and substrates by name that a `transplanted`
	// event may name.
	Containers map[string]hydraulics.Container
	Substrates map[string]hydraulics.Substrate
}

// Shared is what zones may have in common; the zero value is of a zone alone.
type Shared struct {
	// Shelf shares the tables of the physics among zones of one kind. It is used while
	// a zone is made and not after.
	Shelf *hydraulics.Shelf
	// Scratch is the memory that zones share which are never stepped at the same time;
	// nil: a zone has its own.
	Scratch *Scratch
}

func (s *Shared) shelf() *hydraulics.Shelf {
	if s.Shelf == nil {
		return new(hydraulics.Shelf)
	}
	return s.Shelf
}

// MaxProbes is the largest number of probes of one zone.
const MaxProbes = 16

// Emitters of one container.
type Emitters struct {
	PerContainer int
	FlowLPerH    float64 // of one emitter
}

// FlowMLPerS is the flow into one container, mL/s; 0 when not told.
func (e Emitters) FlowMLPerS() float64 { return float64(e.PerContainer) * e.FlowLPerH / 3.6 }

// Probe is one sensor position.
type Probe struct {
	ID              string
	HeightCM        float64 // of its middle, above the container's bottom
	SensingLengthCM float64 // vertical extent, 0 for a point
	Calibration     sensing.Calibration
}

// DayMarks say when the irrigation day starts and when its daytime ends.
type DayMarks struct {
	Start, End DayMark
}

// DayMark is a local time of day, or sunrise or sunset.
type DayMark struct {
	Sun           SunMark
	AfterMidnight time.Duration // local clock time when Sun is NotSun
}

// SunMark is sunrise, sunset, or neither.
type SunMark uint8

// The marks.
const (
	NotSun SunMark = iota
	Sunrise
	Sunset
)

// Stage replaces the band from a local date on.
type Stage struct {
	Name string
	From time.Time // local midnight
	Band hydraulics.BandSpec
}
