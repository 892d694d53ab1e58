package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// Number is a value that may not be known.
type Number struct {
	Value float64
	Known bool
}

// Inputs is the zone as it is at a look; the front door fills it. Water contents
// are m3/m3 of the whole container, volumes mL per container, times Unix
// milliseconds with 0 for never.
type Inputs struct {
	WaterContent, SD float64
	LevelSD          float64 // how far the water content may lie off the container's true one, which no filtering lessens
	Current          bool    // the water content is known now; without it nothing below counts

	FullPoint, RefillPoint float64
	SaturationPoint        float64 // above it the zone is saturated
	Flooded                bool    // water stands over the probes, which cannot tell how high
	DesignCapacity         float64 // container capacity of the physics
	MaxMean                float64 // of the container when every pore is full
	VolumeML               float64 // of the container

	Daytime    bool
	Dark       bool  // light is told, and there is none
	Morning    bool  // of the daytime, its first half
	ClimateMs  int64 // when the climate last told what it asks
	AirCel     Number
	RootCel    Number // substrate temperature
	PoreEC     Number // mS/cm at 25 Cel, as are the next three
	FeedEC     Number
	DrainEC    Number
	WantedEC   Number // of the pore water, by the band
	SaltIndex  Number // sensing.Calibration.SaltIndex: only ever held against this zone's own
	Recovering bool

	Learned Learned
	Water   Water

	Probes     [sensing.MaxProbes]Probe
	ProbeCount int
}

// refill is the refill point as this zone's probes show it, m3/m3: where the container is
// known to hold less by them than by the physics, they read low, or it does hold less, and
// what counts as dry lies as much lower.
func (in *Inputs) refill() float64 {
	l := &in.Learned
	if l.CapacitySD <= 0 || l.CapacitySD >= knownCapacity {
		return in.RefillPoint
	}
	return in.RefillPoint - math.Max(0, in.DesignCapacity-l.Capacity-fills)
}

// likelySaturated is how likely the zone is saturated, 0 to 1. The saturation point is a
// true water content: just above it by probes that may be off is not yet above it.
func (in *Inputs) likelySaturated() float64 {
	if in.Flooded {
		return 1
	}
	sd := math.Max(math.Hypot(in.SD, in.LevelSD), leastLevelSD)
	return math.Erfc((in.SaturationPoint-in.WaterContent)/(math.Sqrt2*sd)) / 2
}

// leastLevelSD is how well the best probe tells a zone's water content, m3/m3.
const leastLevelSD = 0.001

// Learned is what the zone's balance believes.
type Learned struct {
	RateLog              float64    // ln of uptake per demand just now, mL/s per unit of demand
	Uptake5ML            float64    // uptake that this makes of the coming five minutes, mL
	RateSD               float64    // of RateLog
	Night                bool       // RateLog is the night's
	AheadLog             [2]float64 // ln of uptake per demand expected of the coming day, by day and by night; only for Day
	Limit                float64    // share of the demand that the crop can take at this water content
	Capacity, CapacitySD float64    // apparent container capacity, m3/m3
	Gain                 float64    // change of the water content seen over that of the container, 0: 1
	Capture              float64    // share of a shot that stays below capacity
	DrainLog, DrainLogSD float64    // ln of the e-folding time of water above capacity, s
	Noise                float64    // standard deviation of the zone's water content, m3/m3
	UptakeML24h          float64    // only for Day
}

// gain is Gain, or 1.
func (l *Learned) gain() float64 {
	if l.Gain > 0 {
		return l.Gain
	}
	return 1
}

// Water is the zone's water as it is reported.
type Water struct {
	Reports     bool    // this zone's waterings are reported
	LastMs      int64   // newest report, volume or valve
	LastShotMs  int64   // start of the newest watering, reported or seen
	Following   bool    // that watering has not drained yet
	ValveOpenMs int64   // open since, 0: closed or not told
	DrainHourML float64 // reported drain of this hour and the one before
	DrainHeard  bool    // drain was told within the hour, so that none tells that none came
	DrainedML   float64 // reported drain since the zone was first seen, while DrainHeard
	TotalML     float64 // reported or shown since the zone was first seen
	ReportedML  float64 // of that reported
	GivenML24h  float64 // only for Day
	DrainTold   bool    // drain volumes are reported here; only for Day, as the next
	Drain24hML  float64 // reported drain of the last 24 h

	PlanMs    int64   // first shot of the approved plan in force, 0: none
	PlannedML float64 // what its schedule has given, but for the last hour
	Trigger   float64 // its trigger, m3/m3
	Target    float64 // its target, m3/m3
	ShotRise  float64 // what one of its shots lifts the water content by, m3/m3
	ByTrigger bool    // it is followed by trigger, likelier than by clock
}

// Probe is one probe at a look.
type Probe struct {
	Heard  bool
	Health sensing.Health
	Mean   float64 // water content of the container by this probe alone, m3/m3
	AtMs   int64   // of its newest reading
	Parted float64 // by how much its difference from its peers has moved over days, m3/m3

	SteppedMs              int64   // when it last went to another level, as no water explains, and stayed; 0: never
	SteppedFrom, SteppedTo float64 // m3/m3 at the probe
}
