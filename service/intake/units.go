package intake

import (
	"fmt"
	"math"
	"strings"

	"rhizostat/policy/sensing"
)

// dimension is a physical quantity; units convert only inside one.
type dimension uint8

const (
	waterShare dimension = iota // base m3/m3
	number                      // base 1
	conductivity
	temperature
	mass
	volume // per container
	humidity
	irradiance
	photonFlux
	pressure
	dimensionCount
)

// unit is a row of the table: base = value * Scale + Offset.
type unit struct {
	symbol        string
	of            dimension
	scale, offset float64
}

// units is the one table of units. Symbols are those of SenML (RFC 8428, section
// 12.1, and RFC 8798) and of UCUM, which agree wherever both have one, but for
// `%`: UCUM's is one hundredth, SenML's a synonym of `/`. The row here is UCUM's;
// see [conversionOf]. Scales are exact by definition.
var units = []unit{
	{"m3/m3", waterShare, 1, 0},
	{"1", waterShare, 1, 0},
	{"/", waterShare, 1, 0}, // SenML ratio, 1 = whole
	{"%", waterShare, 0.01, 0},
	{"/100", waterShare, 0.01, 0},   // SenML secondary
	{"/1000", waterShare, 0.001, 0}, // SenML secondary
	{"ppm", waterShare, 1e-6, 0},    // SenML secondary
	{"cm3/cm3", waterShare, 1, 0},
	{"L/L", waterShare, 1, 0},

	{"1", number, 1, 0},
	{"/", number, 1, 0},

	{"mS/cm", conductivity, 1, 0},
	{"dS/m", conductivity, 1, 0},
	{"S/m", conductivity, 10, 0}, // SenML primary
	{"mS/m", conductivity, 0.01, 0},
	{"uS/cm", conductivity, 0.001, 0},

	{"Cel", temperature, 1, 0},
	{"K", temperature, 1, -273.15},
	{"[degF]", temperature, 5. / 9, -160. / 9},

	{"kg", mass, 1, 0},
	{"g", mass, 0.001, 0},
	{"t", mass, 1000, 0},
	{"[lb_av]", mass, 0.45359237, 0}, // international pound, exact since 1959

	{"mL", volume, 1, 0},
	{"ml", volume, 1, 0},
	{"L", volume, 1000, 0},
	{"l", volume, 1000, 0}, // SenML, not recommended
	{"m3", volume, 1e6, 0},
	{"cm3", volume, 1, 0},

	{"%RH", humidity, 1, 0}, // SenML: percent, unlike its %
	{"%", humidity, 1, 0},
	{"/", humidity, 100, 0},
	{"/100", humidity, 1, 0},
	{"1", humidity, 100, 0},

	{"W/m2", irradiance, 1, 0},
	{"kW/m2", irradiance, 1000, 0},
	{"J/cm2/h", irradiance, 10000. / 3600, 0},

	{"umol/m2/s", photonFlux, 1, 0},
	{"umol/(m2.s)", photonFlux, 1, 0}, // the same in UCUM's other spelling
	{"mol/m2/s", photonFlux, 1e6, 0},

	{"kPa", pressure, 1, 0},
	{"Pa", pressure, 0.001, 0},
	{"hPa", pressure, 0.1, 0},
	{"mbar", pressure, 0.1, 0},
	{"bar", pressure, 100, 0},
}

// dimensionOf says what each signal is.
var dimensionOf = [sensing.SignalCount]dimension{
	sensing.WaterContent:          waterShare,
	sensing.Permittivity:          number,
	sensing.BulkEC:                conductivity,
	sensing.PoreEC:                conductivity,
	sensing.SubstrateTemperature:  temperature,
	sensing.ContainerWeight:       mass,
	sensing.IrrigationVolume:      volume,
	sensing.IrrigationTotal:       volume,
	sensing.DrainVolume:           volume,
	sensing.DrainTotal:            volume,
	sensing.DrainEC:               conductivity,
	sensing.FeedEC:                conductivity,
	sensing.ValveOpen:             number,
	sensing.AirTemperature:        temperature,
	sensing.RelativeHumidity:      humidity,
	sensing.Radiation:             irradiance,
	sensing.PPFD:                  photonFlux,
	sensing.VapourPressureDeficit: pressure,
}

// conversion takes a number to a signal's base unit: number * scale + offset.
type conversion struct{ scale, offset float64 }

// asIs is for numbers that are in the base unit already.
var asIs = conversion{1, 0}

// bySymbol holds the conversions of each dimension; it is written once, here.
var bySymbol = func() (m [dimensionCount]map[string]conversion) {
	for d := range m {
		m[d] = map[string]conversion{}
	}
	for _, u := range units {
		m[u.of][u.symbol] = conversion{u.scale, u.offset}
	}
	return m
}()

// conversionOf finds the conversion of a signal from a unit. hundredths says what
// `%` means: one hundredth as in UCUM, or the whole ratio as in SenML.
func conversionOf(s sensing.Signal, symbol []byte, hundredths bool) (conversion, bool) {
	if len(symbol) == 1 && symbol[0] == '%' && !hundredths {
		symbol = slash
	}
	c, ok := bySymbol[dimensionOf[s]][string(symbol)]
	return c, ok
}

var slash = []byte("/")

// CheckUnit reports whether a signal may come in a unit; the error names the
// units that it may come in.
func CheckUnit(signal, unit string) error {
	s, ok := sensing.SignalByName(signal)
	if !ok {
		return fmt.Errorf("%q is not a signal", signal)
	}
	if _, ok := conversionOf(s, []byte(unit), true); ok {
		return nil
	}
	return fmt.Errorf("%q is not a unit of %s; expected one of %s; units are case-sensitive, as UCUM and SenML write them", unit, signal, strings.Join(UnitsOf(s), ", "))
}

// UnitsOf lists the units that a signal may come in, its base unit first.
func UnitsOf(s sensing.Signal) []string {
	base := sensing.Signals[s].Unit
	symbols := []string{base}
	for _, u := range units {
		if u.of == dimensionOf[s] && u.symbol != base {
			symbols = append(symbols, u.symbol)
		}
	}
	return symbols
}

// put converts a number and sets it as the signal's value; a number that the
// signal cannot have is a reason.
func put(v *sensing.Values, s sensing.Signal, x float64, c conversion) Reason {
	x = x*c.scale + c.offset
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ImpossibleValue
	}
	x, ok := s.Clamp(x)
	if !ok {
		return ImpossibleValue
	}
	v.Set(s, x)
	return ""
}
