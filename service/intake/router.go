package intake

import (
	"errors"
	"fmt"
	"time"

	"rhizostat/policy/sensing"
)

// Zone is one zone that readings may belong to. Its index in the slice given to
// NewRouter is the ZoneIndex of its items.
type Zone struct {
	Site, Zone          string
	Probes              []string // ids; their order gives the sources
	Climate             string   // id of its climate, "" for none
	PercentIsHundredths bool     // what % means in its native SenML; by the standard it is a ratio
}

// ClimateID is one climate. Its index in the slice given to NewRouter is the
// ClimateIndex of its items.
type ClimateID struct{ Site, ID string }

// Mapping is one foreign topic, or the metrics of an edge node or device: exactly one
// of JSON, Number and Sparkplug is there.
type Mapping struct {
	Site                string
	Topic               string // levels {zone} and {probe} stand for ids of the site; "" of Sparkplug
	Zone                string // "" when a level names it, or for a climate
	Probe               string // "" when a level names it, or for zone-wide signals
	Climate             string // "" when the readings are a zone's
	JSON                []Field
	Time                *TimeField // of JSON, nil: arrival time
	Number              *Field     // its At is ""
	Sparkplug           *Metrics
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

// Item is what one source measured at one instant, in base units.
type Item struct {
	ZoneIndex    int       // of a zone; -1 when a climate measured it
	ClimateIndex int       // of a climate; -1 when a zone measured it
	Source       int       // index of the probe, ZoneWide or Climate
	At           time.Time // UTC; the arrival when the message has no time
	HasTime      bool      // At is the message's own
	Values       sensing.Values
}

// Router finds whose a message is and decodes it. It is safe for several goroutines
// and, but for what edge nodes have said of themselves, immutable.
type Router struct {
	root     string
	zones    []Zone
	places   map[place]int // zones by id
	climates map[place]int
	sites    map[string]bool
	percent  []bool // of each climate: % in its native SenML means hundredths
	foreign  node
	edges    map[edgeID]*edge // that speak Sparkplug B
	listener Listener
	filters  []string
	control  []string
}

// place is the key of a zone or a climate.
type place struct{ site, id string }

// NewRouter makes a router for the zones and climates of all sites, under a topic
// root, that also hears of the births of what takes setpoints as Sparkplug B.
// Everything that is wrong with the mappings comes as one error. The slices are kept;
// they must not be changed.
func NewRouter(root string, zones []Zone, climates []ClimateID, mappings []Mapping, outputs ...Output) (*Router, error) {
	r := &Router{
		root: root, zones: zones,
		places: make(map[place]int, len(zones)), climates: make(map[place]int, len(climates)), sites: map[string]bool{},
		edges: map[edgeID]*edge{},
	}
	var errs []error
	for i, c := range climates {
		if _, ok := r.climates[place{c.Site, c.ID}]; ok {
			errs = append(errs, fmt.Errorf("site %s: climate %s is there twice; expected each id once", c.Site, c.ID))
		}
		r.climates[place{c.Site, c.ID}] = i
		r.sites[c.Site] = true
	}
	for i := range zones {
		errs = append(errs, r.addZone(i)...)
	}
	r.percents(climates)
	for i := range mappings {
		if err := r.addMapping(&mappings[i]); err != nil {
			errs = append(errs, fmt.Errorf("site %s: telemetry %s: %w", mappings[i].Site, mappings[i].name(), err))
		}
	}
	for i := range outputs {
		r.addOutput(i, &outputs[i])
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	r.subscriptions(mappings)
	return r, nil
}

func (r *Router) addZone(i int) (errs []error) {
	z := &r.zones[i]
	if _, ok := r.places[place{z.Site, z.Zone}]; ok {
		errs = append(errs, fmt.Errorf("site %s: zone %s is there twice; expected each id once", z.Site, z.Zone))
	}
	r.places[place{z.Site, z.Zone}] = i
	r.sites[z.Site] = true
	if _, ok := r.climates[place{z.Site, z.Climate}]; z.Climate != "" && !ok {
		errs = append(errs, fmt.Errorf("site %s: zone %s: climate %s is not there; expected one of the site's climates", z.Site, z.Zone, z.Climate))
	}
	for k, p := range z.Probes {
		if p == zoneName || p == climateName {
			errs = append(errs, fmt.Errorf("site %s: zone %s: a probe is called %s, which stands for another source; expected another id", z.Site, z.Zone, p))
		}
		if probeIndex(z.Probes[:k], p) >= 0 {
			errs = append(errs, fmt.Errorf("site %s: zone %s: probe %s is there twice; expected each id once", z.Site, z.Zone, p))
		}
	}
	return errs
}

// percents says of each climate what % means: hundredths when all of its zones
// say so, for the air has no key of its own.
func (r *Router) percents(climates []ClimateID) {
	r.percent = make([]bool, len(climates))
	ratio := make([]bool, len(climates))
	for i := range r.zones {
		if c, ok := r.climates[place{r.zones[i].Site, r.zones[i].Climate}]; ok {
			r.percent[c] = r.percent[c] || r.zones[i].PercentIsHundredths
			ratio[c] = ratio[c] || !r.zones[i].PercentIsHundredths
		}
	}
	for c := range ratio {
		r.percent[c] = r.percent[c] && !ratio[c]
	}
}

// probeIndex finds a probe; a zone has at most a few.
func probeIndex(probes []string, id string) int {
	for i, p := range probes {
		if p == id {
			return i
		}
	}
	return -1
}
