package simulator

import (
	"fmt"
	"slices"
	"time"
)

// ClimateProbe is what measures the climate of the house.
type ClimateProbe struct {
	Every time.Duration // 0 for none
	// Radiation inside or outside, or light in umol/m2/s instead.
	Inside, TellsPPFD bool
	Noise             float64 // relative, of radiation
	CelBias, RHBias   float64
}

// Facility is a house with its zones and the truth of them.
type Facility struct {
	start, now int64
	sky        sky
	air        Air
	climate    ClimateProbe
	chance     random
	specs      []ZoneSpec
	zones      []zone
	faults     []Fault
	said       []Measurement
}

// NewFacility makes a facility. The start is cut to the whole minute. The error
// says what of a zone cannot be.
func NewFacility(seed uint64, weather Weather, climate ClimateProbe, zones []ZoneSpec, start time.Time) (*Facility, error) {
	if !(weather.Cover > 0 && weather.Cover <= 1) {
		return nil, fmt.Errorf("weather: cover %g; expected above 0, at most 1 (outdoors)", weather.Cover)
	}
	if !weather.Dark && weather.HeatCel > -50 && weather.HeatCel > 40 {
		return nil, fmt.Errorf("weather: heated to %g Cel; expected at most 40", weather.HeatCel)
	}
	t := start.Unix() - start.Unix()%60
	f := &Facility{start: t, now: t, climate: climate, chance: stream(seed, 4), specs: slices.Clone(zones)}
	f.sky = newSky(weather, seed, t)
	f.air = f.sky.at(t, 0)
	for i := range f.specs {
		if err := f.specs[i].check(); err != nil {
			return nil, err
		}
		f.zones = append(f.zones, newZone(&f.specs[i], i, seed, t))
	}
	return f, nil
}

// Inject adds a fault; its zone must be there, or it panics.
func (f *Facility) Inject(fault Fault) {
	if fault.Zone < 0 || fault.Zone >= len(f.zones) {
		panic(fmt.Sprintf("simulator: fault %d on zone %d of %d", fault.Kind, fault.Zone, len(f.zones)))
	}
	f.faults = append(f.faults, fault)
}

// Now is the time simulated so far.
func (f *Facility) Now() time.Time { return time.Unix(f.now, 0).UTC() }

// Air is the air at Now.
func (f *Facility) Air() Air { return f.air }

// OtherSky lets the weather go on from Now by the chances of another seed: on copies of
// a facility, the days that somebody who knows all but the weather to come must reckon with.
func (f *Facility) OtherSky(seed uint64) { f.sky.chance = stream(seed, 1) }

// Advance lets time pass to the last whole minute at or before to.
func (f *Facility) Advance(to time.Time) {
	for end := to.Unix(); f.now+60 <= end; {
		t := f.now
		f.air = f.sky.at(t, f.spell(t))
		for i := range f.faults {
			if x := &f.faults[i]; !x.done && t >= x.From.Unix() {
				x.done = true
				f.zones[x.Zone].happen(x)
			}
		}
		f.now += 60
		for i := range f.zones {
			f.zones[i].minute(t, f.air, f.faults)
			f.said = f.zones[i].tell(f.now, f.start, f.air, f.faults, f.said)
		}
		f.tellClimate()
	}
}

// spell is the strength of a hot spell.
func (f *Facility) spell(t int64) float64 {
	x := 0.0
	for i := range f.faults {
		if f.faults[i].Kind == HotSpell {
			x = max(x, f.faults[i].strength(t))
		}
	}
	return x
}

func (f *Facility) tellClimate() {
	every := int64(f.climate.Every.Seconds())
	if every <= 0 || f.now%every >= 60 {
		return
	}
	light := f.air.Outside
	if f.climate.Inside || f.sky.Dark {
		light = f.air.Inside
	}
	light = max(light*(1+f.climate.Noise*f.chance.normal()), 0)
	signals := []Signal{
		{AirTemperature, round(f.air.Cel+f.climate.CelBias+0.1*f.chance.normal(), 0.1)},
		{RelativeHumidity, round(min(max(f.air.RH+f.climate.RHBias+f.chance.normal(), 0), 100), 0.1)},
	}
	if f.climate.TellsPPFD {
		// sunlight: 2.02 umol/J of global radiation (McCree 1972; from memory)
		signals = append(signals, Signal{PPFD, round(light*2.02, 1)})
	} else {
		signals = append(signals, Signal{Radiation, round(light, 1)})
	}
	at := f.Now()
	f.said = append(f.said, Measurement{Zone: -1, Source: "climate", At: at, Arrives: at.Add(time.Second), Signals: signals})
}

// Open gives every container of a zone a shot of volumeML at the nominal flow,
// from now on; a shot that still runs is made longer. It returns the run time.
func (f *Facility) Open(index int, volumeML float64) time.Duration {
	z := &f.zones[index]
	run := int64(volumeML/z.spec.EmitterMLPerS + 0.5)
	if run <= 0 {
		return 0
	}
	if z.openTill <= f.now { // no shot runs
		z.openFrom, z.openTill, z.volume = f.now, f.now, 0
		if z.spec.TellsValve {
			at := f.Now()
			f.said = append(f.said, Measurement{Zone: index, Source: "zone", At: at, Arrives: at.Add(time.Second), Signals: []Signal{{ValveOpen, 1}}})
		}
	}
	z.openTill += run
	z.volume += volumeML
	z.told = false
	return time.Duration(run) * time.Second
}

// Measurements gives what has arrived by Now and was not given before, by
// arrival.
func (f *Facility) Measurements() []Measurement {
	slices.SortStableFunc(f.said, func(a, b Measurement) int { return a.Arrives.Compare(b.Arrives) })
	now, n := f.Now(), 0
	for n < len(f.said) && !f.said[n].Arrives.After(now) {
		n++
	}
	out := slices.Clone(f.said[:n])
	f.said = append(f.said[:0], f.said[n:]...)
	return out
}

// Clone gives a copy that goes on by itself with the very same chances: what a
// planner with perfect knowledge tries its plans on.
func (f *Facility) Clone() *Facility {
	c := *f
	c.specs = slices.Clone(f.specs)
	c.zones = slices.Clone(f.zones)
	for i := range c.zones {
		c.zones[i].spec = &c.specs[i]
		c.zones[i].pots = slices.Clone(f.zones[i].pots)
		c.zones[i].probes = slices.Clone(f.zones[i].probes)
		for j := range c.zones[i].pots {
			c.zones[i].pots[j].base = &c.specs[i].Substrate
		}
	}
	c.faults = slices.Clone(f.faults)
	c.said = slices.Clone(f.said)
	return &c
}
