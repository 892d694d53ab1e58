// Package advice holds what the engine may propose: the action, the setpoints
// in it, what they are expected to do, and the catalogue of every sentence that
// reaches a person. It imports nothing of ours, so that the engine, the guard
// and the shell can all speak of the same thing.
package advice

import "time"

// Action is what an advice asks for.
type Action string

// The four actions.
const (
	Irrigate Action = "irrigate" // water as the setpoints say
	Withhold Action = "withhold" // no water until valid_until or the trigger
	Leach    Action = "leach"    // irrigate with a raised drain fraction
	Inspect  Action = "inspect"  // a person must look; no setpoints
)

// Shot is one watering of a schedule.
type Shot struct {
	At       time.Time // start, UTC, whole minutes
	VolumeML int       // per container
	RunTimeS int       // emitter run time that gives VolumeML
}

// ProbeTrigger is the trigger as one probe would read it.
type ProbeTrigger struct {
	Probe        string
	WaterContent float64 // m3/m3
}

// Setpoints are the numbers of an advice. Volumes are per container.
type Setpoints struct {
	FirstShotAt         time.Time      // zero for Withhold
	LastShotBy          time.Time      // zero for Withhold
	TriggerWaterContent float64        // m3/m3, of the zone
	TargetWaterContent  float64        // m3/m3, of the zone; rewet ends here
	TriggerByProbe      []ProbeTrigger // sorted by probe id
	ShotVolumeML        int
	RunTimeS            int
	MinIntervalS        int
	MaxVolumeML         int     // of the irrigation day
	DrainFraction       float64 // aimed at, 0 to 1
	Schedule            []Shot  // in time order
}

// Clone returns a deep copy.
func (s *Setpoints) Clone() *Setpoints {
	if s == nil {
		return nil
	}
	c := *s
	c.TriggerByProbe = append([]ProbeTrigger(nil), s.TriggerByProbe...)
	c.Schedule = append([]Shot(nil), s.Schedule...)
	return &c
}

// ScheduledML is the sum of the schedule, mL per container.
func (s *Setpoints) ScheduledML() int {
	sum := 0
	for _, shot := range s.Schedule {
		sum += shot.VolumeML
	}
	return sum
}

// Expected is what the engine expects of the day under the setpoints.
type Expected struct {
	PeakWaterContent     float64 // m3/m3
	TroughWaterContent   float64 // m3/m3
	OvernightDryback     float64 // m3/m3
	MinAirFilledPorosity float64 // m3/m3, mean of the container at its wettest
	SaturationS          int     // s
	UptakeML             int     // per container
	DrainML              int     // per container
}

// Reason is one sentence with its code from the catalogue.
type Reason struct {
	Code string
	Text string
}

// Advice is a whole proposal for one zone and one irrigation day. Its approval
// is the desk's matter, not the engine's.
type Advice struct {
	ID         string // ULID
	Site, Zone string
	IssuedAt   time.Time
	ValidFrom  time.Time
	ValidUntil time.Time
	Action     Action
	Setpoints  *Setpoints // nil for Inspect
	Expected   *Expected  // nil for Inspect
	Reasons    []Reason
	Confidence float64   // 0 to 1
	DecideBy   time.Time // zero for Inspect
	Cautions   []Reason
}
