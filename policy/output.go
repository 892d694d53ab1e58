package policy

import (
	"time"

	"rhizostat/policy/advice"
)

// Output is what one Step asks the shell to do. The order matters: Advice is
// recorded in the ledger before it is published, and State and Forecast are
// published after it.
type Output struct {
	Advice   *advice.Advice // newly proposed; the desk gives it its approval
	Over     string         // the id of an advice to look that nobody need follow any more: its cause has gone, or was answered
	State    *State         // engine time passed a multiple of StateEvery
	Forecast *Forecast      // half an hour has passed, or the advice changed
	Drybacks []float64      // depths completed in this step, as a share of the peak
	Scores   []Score        // forecasts that came due in this step
	NextWake time.Time      // step a Wake then, at the latest
	// OldContainer is how many readings of this step were not taken, because they are of the
	// container that the roots stood in before.
	OldContainer int
}

// Score is a past forecast held against what came.
type Score struct {
	Horizon       time.Duration
	AbsoluteError float64 // m3/m3
	Covered       bool    // inside its interval
}

// State is what the engine believes of the zone now.
type State struct {
	Time              time.Time
	Known             bool    // false until a first reading: the numbers below it are then meaningless
	WaterContent      float64 // m3/m3, mean over the container
	WaterContentSD    float64 // m3/m3
	AirFilledPorosity float64 // m3/m3
	AvailableWaterML  float64 // above the refill point's suction limit, per container
	Saturated         bool
	SaturatedShare    float64 // of the root volume
	SaturationS24h    float64 // s
	AerationMargin    float64 // 1 open, 0 critical, below 0 worse
	FullPoint         float64 // m3/m3
	RefillPoint       float64 // m3/m3
	Position          string  // below, in, above
	PartOfDay         string  // rewet, hold, dry-down
	// Drybacks are falls of the water content above, as its probes see them: the
	// container's mean may fall by more or less, see plan.Request.Gain.
	RunningDryback   float64 // m3/m3
	LastDryback      float64 // m3/m3
	LastDrybackShare float64 // of the peak
	OvernightDryback float64 // m3/m3
	UptakeML24h      float64 // per container
	IrrigationML24h  float64
	DrainML24h       float64
	DrainFraction24h float64
	PoreEC           *float64 // mS/cm, nil when not known
	SubstrateTemp    *float64 // Cel, nil when not known
	DesignCapacity   float64  // m3/m3, of the physics
	ApparentCapacity float64  // m3/m3, learned
	StabilityIndex   float64  // 0 to 1
	Recovering       bool
	Diagnosis        []Finding
	Quorum           bool
	Probes           []ProbeState // sorted by id
	AdviceConfidence float64
	ForecastError    []HorizonError
	ForecastCoverage float64 // share of forecasts inside their interval
	Totals           Totals
}

// Totals are counters since the zone was first seen; they survive a restart.
type Totals struct {
	SaturationS, InBandS, AboveBandS, BelowBandS float64
	UptakeML, IrrigationML, DrainML              float64 // per container
}

// HorizonError is the running mean absolute error at one horizon.
type HorizonError struct {
	Horizon time.Duration
	Error   float64 // m3/m3
}

// Finding is one possible cause of trouble.
type Finding struct {
	Cause       string
	Probability float64
	Since       time.Time
	Evidence    []advice.Reason
	LookAt      string
}

// ProbeState is what the engine thinks of one probe.
type ProbeState struct {
	ID           string
	Health       string
	AgeS         float64 // since its last accepted reading
	WaterContent float64 // last accepted, m3/m3
	Seen         bool
}

// Forecast is the water content over the next 24 h, 289 values from IssuedAt
// at 5 minute steps, with the interval of Level.
type Forecast struct {
	IssuedAt time.Time
	Level    float64
	Plan     Course // under the standing advice
	NoWater  Course
	AsUsual  Course // watered as on its last days
}

// Course is one variant of a forecast, m3/m3.
type Course struct {
	WaterContent, Low, High []float64
}
