package simulator

import (
	"fmt"
	"math"
	"time"
)

// ZoneSpec is one zone: what one valve waters.
type ZoneSpec struct {
	Name       string
	Substrate  Substrate
	Container  Container
	Crop       Crop
	Containers int // simulated, 1 to 64; they differ
	// EmitterMLPerS is the nominal flow into one container, mL/s;
	// EmitterBias what the emitters really give over that, less 1;
	// EmitterSpread the coefficient of variation among containers.
	EmitterMLPerS, EmitterBias, EmitterSpread float64
	FeedEC                                    float64 // mS/cm
	Probes                                    []Probe
	// StartSuctionCM is the suction at the bottom at the start, cm.
	StartSuctionCM float64
	// What the zone tells beside its probes.
	TellsVolume, TellsValve, TellsFeedEC bool
	// Totals tells running totals of water and drain in place of volumes.
	Totals bool
	// DrainEvery is how often caught drain is told; 0 for never.
	DrainEvery   time.Duration
	TellsDrainEC bool
}

func (z *ZoneSpec) check() error {
	if err := z.Substrate.check(); err != nil {
		return fmt.Errorf("zone %s: %w", z.Name, err)
	}
	if err := z.Container.check(); err != nil {
		return fmt.Errorf("zone %s: %w", z.Name, err)
	}
	if z.Containers < 1 || z.Containers > 64 || !(z.EmitterMLPerS > 0) {
		return fmt.Errorf("zone %s: %d containers at %g mL/s; expected 1 to 64 and a flow above 0", z.Name, z.Containers, z.EmitterMLPerS)
	}
	c := &z.Crop
	if !(c.GroundM2 > 0 && c.LeafArea > 0 && c.LeafAreaFull >= c.LeafArea && c.RootDepth > 0 && c.StressSuctionCM > 0) {
		return fmt.Errorf("zone %s: crop %+v; expected ground, leaf area, root depth and stress suction above 0", z.Name, *c)
	}
	for _, p := range z.Probes {
		if p.Container < 0 || p.Container >= z.Containers || p.Every < time.Minute || !(p.HeightCM >= 0 && p.HeightCM <= z.Container.HeightCM) {
			return fmt.Errorf("zone %s: probe %s in container %d at %g cm every %v; expected a container of the zone, a height in its fill, at least 1m", z.Name, p.ID, p.Container, p.HeightCM, p.Every)
		}
	}
	return nil
}

// zone is a zone at work.
type zone struct {
	spec     *ZoneSpec
	index    int
	pots     []pot
	probes   []probe
	openFrom int64 // of the shot that runs or waits, s
	openTill int64
	volume   float64 // of that shot as told, mL
	total    float64 // of all shots as told, mL
	told     bool
	caught   float64 // drain already told, mL per container
	caughtEC float64
	byHand   float64 // mL per container still to come by hand
}

func newZone(spec *ZoneSpec, index int, seed uint64, start int64) zone {
	z := zone{spec: spec, index: index, told: true}
	g := newGrid(spec.Container)
	for i := range spec.Containers {
		chance := stream(seed, 2, uint64(index), uint64(i))
		p := pot{base: &spec.Substrate, chance: chance}
		p.g = g
		p.emitter = (1 + spec.EmitterBias) * math.Max(1+spec.EmitterSpread*p.chance.normal(), 0.3)
		p.size = math.Exp(spec.Crop.SpreadPlants * p.chance.normal())
		p.leaf, p.rooted, p.wander = spec.Crop.LeafArea, 0.1, p.chance.normal()
		p.cel, p.wettable, p.shaken = 20, 1, 3600
		p.harden(&spec.Crop, &effects{})
		p.rest(spec.StartSuctionCM)
		for l := range p.salts {
			p.salts[l] = spec.FeedEC * 1.1 * p.theta[l] * g.volume[l]
		}
		z.pots = append(z.pots, p)
	}
	for i, p := range spec.Probes {
		z.probes = append(z.probes, probe{Probe: p, chance: stream(seed, 3, uint64(index), uint64(i)), next: start + int64(p.Every.Seconds())})
	}
	return z
}

// minute lets the minute from t on pass.
func (z *zone) minute(t int64, air Air, faults []Fault) {
	open := max(min(t+60, z.openTill)-max(t, z.openFrom), 0)
	hand := 0.0
	if z.byHand > 0 { // a can: 20 mL/s
		hand = math.Min(z.byHand, 20*60)
		z.byHand -= hand
	}
	for i := range z.pots {
		p := &z.pots[i]
		var e effects
		if len(faults) > 0 {
			e = effectsOn(faults, z.index, i, t)
		}
		flow := z.spec.EmitterMLPerS * p.emitter * (1 - e.blocked)
		rate := flow*float64(open)/60*(1-e.shut) + flow*e.leak + hand/60
		if rate > 0 {
			p.catchUp(z.spec, air, &e)
		}
		p.rate = rate
		p.lag += 60
		if rate > 0 || p.pond > 0 || p.macro > 0.5 || p.shaken < 1800 || p.lag >= longestStep {
			p.catchUp(z.spec, air, &e)
		}
		if t%86400 < 60 {
			p.root(&z.spec.Crop, p.g)
		}
	}
}

// catchUp simulates the time that a resting container has been left alone.
func (p *pot) catchUp(spec *ZoneSpec, air Air, e *effects) {
	if p.lag <= 0 {
		return
	}
	span := p.lag
	p.lag = 0
	p.harden(&spec.Crop, e)
	p.step(&spec.Crop, span, air, spec.FeedEC*(1+e.salt), e)
}

// happen does what faults do once.
func (z *zone) happen(f *Fault) {
	switch f.Kind {
	case UnreportedWatering:
		z.byHand += f.VolumeML
	case ShootsPruned:
		for i := range z.pots {
			if f.Container < 0 || f.Container == i {
				z.pots[i].leaf *= 1 - f.Severity
			}
		}
	}
}

// tell gathers what the zone's devices say in the minute that ended at t.
func (z *zone) tell(t, start int64, air Air, faults []Fault, out []Measurement) []Measurement {
	for i := range z.probes {
		r := &z.probes[i]
		if t < r.next {
			continue
		}
		r.next += int64(r.Every.Seconds())
		p := &z.pots[r.Container]
		e := effectsOn(faults, z.index, r.Container, t)
		p.catchUp(z.spec, air, &e)
		m, ok := r.read(p, z.spec.Crop.GroundM2, faults, z.index, i, t, float64(t-start))
		if !ok {
			continue
		}
		if r.chance.chance(r.Late) {
			m.Arrives = m.Arrives.Add(time.Duration(r.chance.uniform() * float64(r.LateBy)))
		}
		out = append(out, m)
		if r.chance.chance(r.Doubled) {
			m.Arrives = m.Arrives.Add(time.Duration(1+20*r.chance.uniform()) * time.Second)
			out = append(out, m)
		}
	}
	return z.tellWater(t, out)
}

// tellWater tells of shots, valve and drain.
func (z *zone) tellWater(t int64, out []Measurement) []Measurement {
	say := func(at int64, s ...Signal) {
		when := time.Unix(at, 0).UTC()
		out = append(out, Measurement{Zone: z.index, Source: "zone", At: when, Arrives: when.Add(time.Second), Signals: s})
	}
	if !z.told && t >= z.openTill {
		z.told = true
		if z.spec.TellsValve {
			say(z.openTill, Signal{ValveOpen, 0})
		}
		z.total += math.Round(z.volume)
		switch {
		case z.spec.TellsVolume && z.spec.Totals:
			say(z.openTill, Signal{IrrigationTotal, z.total})
		case z.spec.TellsVolume:
			say(z.openTill, Signal{IrrigationVolume, math.Round(z.volume)})
		}
	}
	every := int64(z.spec.DrainEvery.Seconds())
	if every > 0 && t%every == 0 {
		s := z.sums()
		if d := math.Round(s.Caught - z.caught); d >= 1 {
			signals := []Signal{{DrainVolume, d}}
			if z.spec.Totals {
				signals[0] = Signal{DrainTotal, z.caught + d}
			}
			if z.spec.TellsDrainEC {
				signals = append(signals, Signal{DrainEC, round((s.SaltCaught-z.caughtEC)/(s.Caught-z.caught), 0.01)})
			}
			say(t, signals...)
			z.caught += d
			z.caughtEC = s.SaltCaught
		}
	}
	if z.spec.TellsFeedEC && t%3600 == 0 {
		say(t, Signal{FeedEC, z.spec.FeedEC})
	}
	return out
}

// sums is the mean of the containers' sums.
func (z *zone) sums() (s Sums) {
	n := float64(len(z.pots))
	for i := range z.pots {
		p := &z.pots[i].sum
		s.Given += p.Given / n
		s.Uptake += p.Uptake / n
		s.Evaporated += p.Evaporated / n
		s.Drained += p.Drained / n
		s.Overflow += p.Overflow / n
		s.Demand += p.Demand / n
		s.Caught += p.Caught / n
		s.SaltIn += p.SaltIn / n
		s.SaltOut += p.SaltOut / n
		s.SaltTaken += p.SaltTaken / n
		s.SaltCaught += p.SaltCaught / n
	}
	return s
}
