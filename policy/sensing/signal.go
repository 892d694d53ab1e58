// Package sensing turns what instruments say into what the substrate holds:
// the signals and their physical limits, calibrations, salinity, the health of
// a probe, and the agreement of the probes of a zone.
package sensing

// Signal is one measured quantity in its base unit.
type Signal uint8

// The signals. The order is part of the snapshot format: add at the end.
const (
	WaterContent Signal = iota
	Permittivity
	BulkEC
	PoreEC
	SubstrateTemperature
	ContainerWeight
	IrrigationVolume
	IrrigationTotal
	DrainVolume
	DrainTotal
	DrainEC
	FeedEC
	ValveOpen
	AirTemperature
	RelativeHumidity
	Radiation
	PPFD
	VapourPressureDeficit
	signalCount
)

// SignalCount is the number of signals.
const SignalCount = int(signalCount)

// Description is a row of the table of signals. Values outside Low to High are
// physically impossible and are refused at the door.
type Description struct {
	Name string
	Unit string // base unit, UCUM
	Low  float64
	High float64
	What string
}

// Signals describes every signal; it is indexed by Signal. The limits are
// physical or, where physics sets none, the widest an instrument of the trade
// reports (common practice, no source).
var Signals = [SignalCount]Description{
	WaterContent:          {"water_content", "m3/m3", 0, 1, "volumetric water content at the probe"},
	Permittivity:          {"permittivity", "1", 1, 100, "apparent relative permittivity at the probe"},
	BulkEC:                {"bulk_ec", "mS/cm", 0, 20, "bulk electrical conductivity at 25 Cel"},
	PoreEC:                {"pore_ec", "mS/cm", 0, 50, "electrical conductivity of the pore water at 25 Cel"},
	SubstrateTemperature:  {"substrate_temperature", "Cel", -30, 80, "temperature of the substrate"},
	ContainerWeight:       {"container_weight", "kg", 0, 1000, "gross weight of one container"},
	IrrigationVolume:      {"irrigation_volume", "mL", 0, 1e6, "volume of one irrigation event, per container"},
	IrrigationTotal:       {"irrigation_total", "mL", 0, 1e12, "running irrigation total, per container"},
	DrainVolume:           {"drain_volume", "mL", 0, 1e6, "volume of one drain event, per container"},
	DrainTotal:            {"drain_total", "mL", 0, 1e12, "running drain total, per container"},
	DrainEC:               {"drain_ec", "mS/cm", 0, 50, "electrical conductivity of the drain at 25 Cel"},
	FeedEC:                {"feed_ec", "mS/cm", 0, 50, "electrical conductivity of the feed at 25 Cel"},
	ValveOpen:             {"valve_open", "1", 0, 1, "1 while the zone's valve is open"},
	AirTemperature:        {"air_temperature", "Cel", -60, 80, "air temperature"},
	RelativeHumidity:      {"relative_humidity", "%", 0, 100, "relative humidity of the air"},
	Radiation:             {"radiation", "W/m2", 0, 1500, "global radiation, outside or above the crop"},
	PPFD:                  {"ppfd", "umol/m2/s", 0, 4000, "photosynthetic photon flux density above the crop"},
	VapourPressureDeficit: {"vapour_pressure_deficit", "kPa", 0, 12, "vapour pressure deficit of the air"},
}

// String returns the signal's name on the wire.
func (s Signal) String() string {
	if int(s) < SignalCount {
		return Signals[s].Name
	}
	return "unknown"
}

// Possible reports whether v can be a value of the signal at all; NaN and
// infinities cannot.
func (s Signal) Possible(v float64) bool {
	return int(s) < SignalCount && v >= Signals[s].Low && v <= Signals[s].High
}

// allowance is how far an instrument's own error may carry a reading outside
// what is possible; see [Signal.Clamp]. Zero: not at all.
var allowance = [SignalCount]struct{ low, high float64 }{
	WaterContent:          {0.02, 0.02}, // calibration error next to dry and to wet
	Permittivity:          {0.2, 0},     // 0.8 to 1 in air
	BulkEC:                {0.05, 0},    // offset in dry substrate
	PoreEC:                {0.05, 0},
	ContainerWeight:       {0.2, 0},  // zero of a scale
	RelativeHumidity:      {2, 5},    // a hygrometer's tolerance: 100.x in fog and dew
	Radiation:             {20, 100}, // thermopiles cool to the night sky: some W/m2 below 0; broken clouds add
	PPFD:                  {10, 0},
	VapourPressureDeficit: {0.15, 0}, // of humidity past 100 %
}

// Clamp returns v as a possible value of the signal: one that an instrument's
// own error has carried just outside the limits is set to the limit, so that a
// hygrometer that says 100.4 % or a thermopile that says -3 W/m2 at night still
// counts; what is further off, NaN and infinities are refused with false. The
// allowances are common practice, no source.
func (s Signal) Clamp(v float64) (float64, bool) {
	if s.Possible(v) {
		return v, true
	}
	if int(s) >= SignalCount {
		return 0, false
	}
	d, a := Signals[s], allowance[s]
	switch {
	case v < d.Low && v >= d.Low-a.low:
		return d.Low, true
	case v > d.High && v <= d.High+a.high:
		return d.High, true
	}
	return 0, false
}

// SignalByName finds a signal by its name on the wire.
func SignalByName(name string) (Signal, bool) {
	for i := range Signals {
		if Signals[i].Name == name {
			return Signal(i), true
		}
	}
	return 0, false
}

// Values are the signals that one source reported for one instant.
type Values struct {
	mask uint32
	v    [SignalCount]float64
}

// Set records a value in the signal's base unit.
func (v *Values) Set(s Signal, value float64) { v.mask |= 1 << s; v.v[s] = value }

// Get returns a value and whether it was reported.
func (v *Values) Get(s Signal) (float64, bool) { return v.v[s], v.mask&(1<<s) != 0 }

// Has reports whether the signal is there.
func (v *Values) Has(s Signal) bool { return v.mask&(1<<s) != 0 }

// Drop removes a signal.
func (v *Values) Drop(s Signal) { v.mask &^= 1 << s; v.v[s] = 0 }

// Empty reports whether nothing was reported.
func (v *Values) Empty() bool { return v.mask == 0 }

// Without removes the signals that other has.
func (v *Values) Without(other *Values) { v.mask &^= other.mask }
