package wire

import (
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
)

// State is `state` as a reader sees it. What is left out is not known: before
// a zone's first reading only its data and diagnosis are there.
type State struct {
	Site              string      `json:"site"`
	Zone              string      `json:"zone"`
	Time              time.Time   `json:"time"`
	WaterContent      *float64    `json:"water_content,omitzero"`         // m3/m3
	WaterContentSD    *float64    `json:"water_content_sd,omitzero"`      // m3/m3
	AirFilledPorosity *float64    `json:"air_filled_porosity,omitzero"`   // m3/m3
	AvailableWaterML  *int64      `json:"available_water_ml,omitzero"`    // mL per container
	Saturated         *bool       `json:"saturated,omitzero"`             //
	SaturatedShare    *float64    `json:"saturated_share,omitzero"`       // of the root volume
	SaturationS24h    *int64      `json:"saturation_s_24h,omitzero"`      // s
	AerationMargin    *float64    `json:"aeration_margin,omitzero"`       // 1 open, 0 critical
	Band              *Band       `json:"band,omitzero"`                  //
	PartOfDay         string      `json:"part_of_day,omitzero"`           // rewet, hold, dry-down
	Dryback           *Dryback    `json:"dryback,omitzero"`               //
	UptakeML24h       *int64      `json:"uptake_ml_24h,omitzero"`         // mL per container
	IrrigationML24h   *int64      `json:"irrigation_ml_24h,omitzero"`     // mL per container
	DrainML24h        *int64      `json:"drain_ml_24h,omitzero"`          // mL per container
	DrainFraction24h  *float64    `json:"drain_fraction_24h,omitzero"`    //
	PoreEC            *float64    `json:"pore_ec,omitzero"`               // mS/cm
	SubstrateTemp     *float64    `json:"substrate_temperature,omitzero"` // Cel
	ContainerCapacity *Capacity   `json:"container_capacity,omitzero"`    //
	Stability         *Stability  `json:"stability,omitzero"`             //
	Diagnosis         []Diagnosis `json:"diagnosis"`                      // empty when nothing is wrong
	Data              Data        `json:"data"`                           //
	NotApprovable     *Reason     `json:"not_approvable,omitzero"`        // why no advice can be approved now
	LeftOut           *Reason     `json:"left_out,omitzero"`              // what a damaged ledger does not tell any more
}

// Band is the target band and where the zone stands against it.
type Band struct {
	FullPoint   float64 `json:"full_point"`   // m3/m3
	RefillPoint float64 `json:"refill_point"` // m3/m3
	Position    string  `json:"position"`     // below, in, above
}

// Dryback is the running dryback and the last completed ones.
type Dryback struct {
	Running        float64 `json:"running"`         // m3/m3
	LastDepth      float64 `json:"last_depth"`      // m3/m3
	LastShare      float64 `json:"last_share"`      // of the peak
	OvernightDepth float64 `json:"overnight_depth"` // m3/m3
}

// Capacity is the container capacity by the physics and as it was learned.
type Capacity struct {
	Design   float64 `json:"design"`   // m3/m3
	Apparent float64 `json:"apparent"` // m3/m3
}

// Stability says how predictable the zone's drinking is.
type Stability struct {
	Index      float64 `json:"index"` // 0 to 1
	Recovering bool    `json:"recovering"`
}

// Diagnosis is one possible cause of trouble.
type Diagnosis struct {
	Cause       string    `json:"cause"`
	Probability float64   `json:"probability"` // 0 to 1
	Since       time.Time `json:"since"`
	Evidence    []Reason  `json:"evidence"`
	LookAt      string    `json:"look_at"`
}

// Data says what the zone's numbers rest on.
type Data struct {
	Quorum bool             `json:"quorum"`
	Probes map[string]Probe `json:"probes"`
}

// Probe is what the engine thinks of one probe. Age and water content are left
// out until it has been heard.
type Probe struct {
	Health       string   `json:"health"`
	AgeS         *int64   `json:"age_s,omitzero"`
	WaterContent *float64 `json:"water_content,omitzero"`
}

// ParseState reads a published state.
func ParseState(payload []byte) (*State, error) {
	s := new(State)
	if err := json.Unmarshal(payload, s); err != nil {
		return nil, fmt.Errorf("state: %w; expected what this program publishes", err)
	}
	return s, nil
}
