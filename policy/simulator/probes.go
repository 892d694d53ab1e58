package simulator

import (
	"math"
	"time"
)

// Probe is one sensor of a zone.
type Probe struct {
	ID              string
	Container       int     // index of the container it sits in
	HeightCM        float64 // of its middle above the bottom
	SensingLengthCM float64
	Every           time.Duration
	Gain, Bias      float64 // reading = Gain (truth) + Bias; Gain 0 means 1
	Noise           float64 // m3/m3, standard deviation
	DriftPerDay     float64 // m3/m3 per day, a constant slow creep
	PerK            float64 // m3/m3 by which a reading rises for each K of the substrate above 20 Cel
	Resolution      float64 // m3/m3; 0 for none
	// Near is how much of the water lately given it sees beyond the layer's
	// own, 0 to 0.5: a probe under the emitter overshoots after a shot.
	Near float64
	// Dropout is the chance that a reading is lost, Doubled that it comes
	// twice, Late that it comes up to LateBy later.
	Dropout, Doubled, Late float64
	LateBy                 time.Duration
	// What it tells beside water content; RawOnly tells permittivity in its
	// place.
	TellsPermittivity, TellsEC, TellsTemperature, RawOnly bool
	// WeighsFromKG makes it a scale under the container that tells container
	// weight: this tare, the water, and CropKGPerM2 for each m2 of leaves. Noise
	// and resolution stay in m3/m3 of the container.
	WeighsFromKG, CropKGPerM2 float64
}

// Signal is one value under its name on the wire, in base units.
type Signal struct {
	Name  string
	Value float64
}

// Measurement is what one source said.
type Measurement struct {
	Zone    int    // index of the zone, -1 for the climate
	Source  string // a probe's id, "zone" or "climate"
	At      time.Time
	Arrives time.Time
	Signals []Signal
}

// Names of the signals.
const (
	WaterContent         = "water_content"
	Permittivity         = "permittivity"
	BulkEC               = "bulk_ec"
	SubstrateTemperature = "substrate_temperature"
	ContainerWeight      = "container_weight"
	IrrigationVolume     = "irrigation_volume"
	IrrigationTotal      = "irrigation_total"
	ValveOpen            = "valve_open"
	DrainVolume          = "drain_volume"
	DrainTotal           = "drain_total"
	DrainEC              = "drain_ec"
	FeedEC               = "feed_ec"
	AirTemperature       = "air_temperature"
	RelativeHumidity     = "relative_humidity"
	Radiation            = "radiation"
	PPFD                 = "ppfd"
)

// probe is a sensor at work.
type probe struct {
	Probe
	chance random
	held   float64 // the value it is stuck at
	stuck  bool
	next   int64
}

// read gives what the probe says of a container at t, whose plants cover ground
// m2; false when it is silent.
func (r *probe) read(p *pot, ground float64, faults []Fault, zone, index int, t int64, since float64) (Measurement, bool) {
	truth := p.content(r.HeightCM)
	if h := r.SensingLengthCM / 2; h > 0 {
		// Simpson over the sensing length, cut off at the ends of the fill
		low, high := math.Max(r.HeightCM-h, 0), math.Min(r.HeightCM+h, p.g.edge[layers])
		truth = (p.content(low) + 4*p.content((low+high)/2) + p.content(high)) / 6
	}
	seen := math.Min(truth+r.Near*p.near/p.g.total, p.porous)
	gain := r.Gain
	if gain == 0 {
		gain = 1
	}
	v := gain*seen + r.Bias + r.DriftPerDay*since/86400 + r.Noise*r.chance.normal() + r.PerK*(p.cel-20)
	lost := r.chance.chance(r.Dropout)
	stamp := t
	stuck := false
	for i := range faults {
		f := &faults[i]
		if f.Zone != zone || f.Probe >= 0 && f.Probe != index {
			continue
		}
		x := f.strength(t)
		if x == 0 {
			continue
		}
		switch f.Kind {
		case SensorStuck:
			stuck = true
		case SensorDrift, SensorOffset:
			v += 0.2 * x
		case SensorJump:
			if r.chance.chance(x) {
				v += r.chance.between(-0.35, 0.35)
			}
		case SensorDropout:
			lost = true
		case SensorClockWrong:
			stamp += int64(x * 3600)
		}
	}
	if stuck && r.stuck {
		v = r.held
	}
	r.held, r.stuck = v, stuck
	if lost {
		return Measurement{}, false
	}
	if r.WeighsFromKG > 0 {
		v += p.meanContent() - truth // it feels all the water, wherever it is
	}
	v = round(math.Min(math.Max(v, 0), 0.999), r.Resolution)
	m := Measurement{Zone: zone, Source: r.ID, At: time.Unix(stamp, 0).UTC(), Arrives: time.Unix(t, 0).UTC().Add(time.Second)}
	epsilon := mixture(v, p.porous)
	if r.WeighsFromKG > 0 {
		kg := r.WeighsFromKG + v*p.g.total/1000 + r.CropKGPerM2*p.leaf*ground
		m.Signals = append(m.Signals, Signal{ContainerWeight, round(kg, 0.001)})
		return m, true
	}
	if !r.RawOnly {
		m.Signals = append(m.Signals, Signal{WaterContent, v})
	}
	if r.TellsPermittivity || r.RawOnly {
		m.Signals = append(m.Signals, Signal{Permittivity, round(epsilon, 0.01)})
	}
	if r.TellsEC {
		ec := p.poreECAt(r.HeightCM) * bulkOverPore(mixture(seen, p.porous), p.cel)
		m.Signals = append(m.Signals, Signal{BulkEC, round(ec*(1+0.02*r.chance.normal()), 0.01)})
	}
	if r.TellsTemperature {
		m.Signals = append(m.Signals, Signal{SubstrateTemperature, round(p.cel+0.1*r.chance.normal(), 0.1)})
	}
	return m, true
}

// mixture is the permittivity of wet substrate by the refractive index of its
// parts, sqrt(e) = theta sqrt(80.3) + (phi-theta) + (1-phi) sqrt(4) (Birchak et
// al. 1974 with the power 1/2; from memory).
func mixture(theta, porosity float64) float64 {
	n := theta*math.Sqrt(80.3) + (porosity - theta) + (1-porosity)*2
	return n * n
}

// bulkOverPore is bulk over pore conductivity, Hilhorst (2000) turned round:
// (e - 4.1)/e_water, e_water = 80.3 - 0.37 (T - 20).
func bulkOverPore(epsilon, cel float64) float64 {
	return math.Max(epsilon-4.1, 0) / (80.3 - 0.37*(cel-20))
}

func round(v, step float64) float64 {
	if step <= 0 {
		return v
	}
	return math.Round(v/step) * step
}
