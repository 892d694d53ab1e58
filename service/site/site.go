package site

import (
	"crypto/ed25519"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// Site is a whole site file, read and found sound.
type Site struct {
	Name      string
	File      string // that it was read from
	TimeZone  string // name in the IANA database
	Location  *time.Location
	Latitude  float64   // degrees north, 0 when not told
	Longitude float64   // degrees east, 0 when not told
	Zones     []Zone    // sorted by id
	Climates  []string  // ids, sorted
	Deciders  []Decider // sorted by name; none: the broker's access list guards decisions
	Mappings  []Mapping // in the order of the file
	Outputs   []Output  // in the order of the file
}

// Zone is one zone of a site.
type Zone struct {
	Settings            policy.Settings // StateEvery is the daemon environment's
	Standing            Standing
	PercentIsHundredths bool // of SenML's % in native telemetry
}

// Standing says whether one decision may cover later advice.
type Standing struct {
	Allowed bool
	MaxDays int // that a decision may cover
}

// Decider is a person whose signed decisions count.
type Decider struct {
	Name      string
	PublicKey ed25519.PublicKey
	Zones     []string // ids, sorted; none: all zones of the site
	May       []string // approve, reject, withdraw
}

// Mapping is one foreign source of readings: exactly one of JSON, Number and
// Sparkplug is there.
type Mapping struct {
	Topic               string // levels {zone} and {probe} stand for ids; "" of Sparkplug
	Zone                string // "" when a level names it, or for a climate
	Probe               string // "" when a level names it, or for zone-wide signals
	Climate             string // "" when the readings are a zone's
	JSON                []Field
	Time                *TimeField // of JSON, nil: arrival time
	Number              *Field     // its At is ""
	Sparkplug           *Sparkplug
	PercentIsHundredths bool // what % means as a unit of this mapping
}

// Field says where a signal is and in which unit.
type Field struct {
	Signal sensing.Signal
	At     string // JSON Pointer
	Unit   string // "" for the signal's base unit
}

// TimeField says where a reading's instant is and how it is written.
type TimeField struct {
	At   string // JSON Pointer
	Unit string // s, ms, us, ns (since 1970), or rfc3339
}

// Sparkplug names the metrics of one edge node or device.
type Sparkplug struct {
	Group, EdgeNode, Device string
	Metrics                 []Metric // in the order of the file
}

// Metric maps a metric name to a signal.
type Metric struct {
	Name string // levels {zone} and {probe} stand for ids
	Field
}

// Output is one place beside the native topics where setpoints go.
type Output struct {
	Group, EdgeNode, Device string
	Zones                   []string // ids whose setpoints go there, sorted
	Metrics                 []OutputMetric
}

// OutputMetric maps a setpoint to a metric name.
type OutputMetric struct {
	Setpoint string // as on the wire
	Name     string // {zone} in it stands for the zone's id
}
