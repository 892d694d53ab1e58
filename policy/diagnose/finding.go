package diagnose

import (
	"time"

	"rhizostat/policy/advice"
)

// Cause is a cause of trouble in a zone, or of a change that is none.
type Cause uint8

// The causes, in the words of the wire.
const (
	RootBound Cause = iota
	Compaction
	Oversaturation
	EdgeChannelling
	EmitterFault
	ValveStuckOpen
	ValveStuckClosed
	SensorFault
	RootZoneHeat
	SaltBuildUp
	UnreportedWatering
	WeatherOrGrowth // a change that needs no remedy
	causeCount
)

// CauseCount is the number of causes.
const CauseCount = int(causeCount)

var causeNames = [causeCount]string{
	RootBound: "root-bound", Compaction: "compaction", Oversaturation: "oversaturation", EdgeChannelling: "edge-channelling",
	EmitterFault: "emitter-fault", ValveStuckOpen: "valve-stuck-open", ValveStuckClosed: "valve-stuck-closed", SensorFault: "sensor-fault",
	RootZoneHeat: "root-zone-heat", SaltBuildUp: "salt-build-up", UnreportedWatering: "unreported-watering", WeatherOrGrowth: "weather-or-growth",
}

// String returns the word of the wire.
func (c Cause) String() string {
	if c < causeCount {
		return causeNames[c]
	}
	return "unknown"
}

// Hardware reports whether a person can mend the cause with a spanner, and so
// should look at once.
func (c Cause) Hardware() bool {
	switch c {
	case EmitterFault, ValveStuckOpen, ValveStuckClosed, SensorFault:
		return true
	}
	return false
}

// Finding is one possible cause of trouble.
type Finding struct {
	Cause       string
	Probability float64 // 0 to 1; what is missing to 1 over all findings is that nothing is wrong
	SinceMs     int64   // when it became likelier than not that something is wrong
	Evidence    []advice.Reason
	Look        advice.Reason // the cheapest look that would settle it
}

// Naming turns what is kept by number into words.
type Naming struct {
	Probe    func(i int) string // id of a probe
	Location *time.Location
}
