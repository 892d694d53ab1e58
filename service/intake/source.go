package intake

import "rhizostat/policy/sensing"

// Sources of a reading that are not a probe; the same numbers as in the engine.
const (
	ZoneWide = -1
	Climate  = -2
)

// The native names of the two in place of a probe.
const (
	zoneName    = "zone"
	climateName = "climate"
)

// scope is a set of kinds of sources.
type scope uint8

const (
	ofProbe scope = 1 << iota
	ofZone
	ofClimate
)

// scopeOf says which kinds of sources may report each signal. Pore EC and
// temperature may also be a zone's, where one sample stands for all containers.
var scopeOf = [sensing.SignalCount]scope{
	sensing.WaterContent:          ofProbe,
	sensing.Permittivity:          ofProbe,
	sensing.BulkEC:                ofProbe,
	sensing.PoreEC:                ofProbe | ofZone,
	sensing.SubstrateTemperature:  ofProbe | ofZone,
	sensing.ContainerWeight:       ofProbe,
	sensing.IrrigationVolume:      ofZone,
	sensing.IrrigationTotal:       ofZone,
	sensing.DrainVolume:           ofZone,
	sensing.DrainTotal:            ofZone,
	sensing.DrainEC:               ofZone,
	sensing.FeedEC:                ofZone,
	sensing.ValveOpen:             ofZone,
	sensing.AirTemperature:        ofClimate,
	sensing.RelativeHumidity:      ofClimate,
	sensing.Radiation:             ofClimate,
	sensing.PPFD:                  ofClimate,
	sensing.VapourPressureDeficit: ofClimate,
}

// source is whose a message is.
type source struct {
	zone       int // index of the zone, -1 of a climate
	climate    int // index of the climate, -1 of a zone
	probe      int // index of the probe, ZoneWide or Climate
	hundredths bool
}

func (s *source) scope() scope {
	switch s.probe {
	case ZoneWide:
		return ofZone
	case Climate:
		return ofClimate
	}
	return ofProbe
}
