package simulator

import "math"

// pot is one container with its plants.
type pot struct {
	soil
	plant
	salts
	base    *Substrate
	porous  float64 // total porosity now, m3/m3
	emitter float64 // flow over the nominal
	chance  random

	pond, pondSalt   float64 // on top, mL
	macro, macroSalt float64 // in the ways past the substrate, mL
	wettable         float64 // 0 repels, 1 takes water
	cel              float64 // of the substrate
	sum              Sums
	lag              float64 // s of time not yet simulated
	shaken           float64 // s since water last moved fast
	rate             float64 // emitter flow during lag, mL/s
	drip             float64 // mL of drain on its way to the gauge
	dripSalt         float64
	near             float64 // mL lately given, as seen by a probe beside the emitter
	made             effects // what the curve was made for
	madeRoots        float64 // m3/m3
}

// Sums are volumes since the start, mL per container.
type Sums struct {
	Given      float64 // by the emitters and by hand
	Uptake     float64
	Evaporated float64
	Drained    float64 // out of the hole
	Overflow   float64 // over the rim
	Demand     float64 // what the crop would have taken with water at will
	Caught     float64 // drain that has reached the gauge
	SaltIn     float64 // mL mS/cm
	SaltOut    float64
	SaltTaken  float64
	SaltCaught float64
}

// macroDrain and macroSoak are the times over which water in the ways past the
// substrate runs out or is drunk up by dry substrate, s; dripTime that over
// which drain reaches its gauge (common practice, no source).
const (
	macroDrain = 240.0
	macroSoak  = 900.0
	dripTime   = 420.0
	rimCM      = 1.5 // of water that stands on top before it runs over
)

// step lets span pass, s, with feed running at rate mL/s.
func (p *pot) step(c *Crop, span float64, air Air, feedEC float64, e *effects) {
	in := p.rate * span
	p.sum.Given += in
	p.sum.SaltIn += in * feedEC
	past := in * p.bypass(e)
	p.macro += past
	p.macroSalt += past * feedEC
	p.pond += in - past
	p.pondSalt += (in - past) * feedEC
	p.spill()

	demand := p.demand(c, air)
	p.sum.Demand += demand * span
	source, _ := p.take(c, &p.soil, demand*p.vigour(p.cel, p.poreEC()))
	uptake := source
	top := p.c.saturation(p.theta[layers-1])
	evaporation := 0.12 * demand0(air) * p.g.area[layers] / 1e4 * top * math.Exp(-0.5*p.leaf)
	source[layers-1] -= evaporation
	var into [layers]float64
	run, ranSalt := p.pastSubstrate(span, &source, &into)

	before := p.pond
	f, pond := p.advance(span, &source, p.pond)
	p.pond = pond
	p.carry(c, span, &f, before, &uptake, &into)
	p.sum.Evaporated += evaporation * span
	p.drain(span, f.edge[0]+run, ranSalt)
	p.age(c, span, air, e)
}

// demand0 is what a wet surface would evaporate in the house, mL/s per m2.
func demand0(air Air) float64 { return (0.5*air.Inside + 25*air.Deficit) / latent }

// bypass is the share of a shot that runs past the substrate now.
func (p *pot) bypass(e *effects) float64 {
	b := p.base.BypassWet + (p.base.BypassDry-p.base.BypassWet)*(1-p.wettable)
	return math.Min(b+(1-b)*e.channel, 0.95)
}

// spill lets what stands above the rim run over, to the drain.
func (p *pot) spill() {
	over := p.pond - rimCM*p.g.area[layers]
	if over <= 0 {
		return
	}
	salt := p.pondSalt * over / p.pond
	p.pond -= over
	p.pondSalt -= salt
	p.sum.Overflow += over
	p.sum.SaltOut += salt
	p.drip += over
	p.dripSalt += salt
}

// pastSubstrate lets the water in the ways past the substrate run out or be
// drunk up; what layers get is added to source (mL/s) and into (salt).
func (p *pot) pastSubstrate(span float64, source, into *[layers]float64) (run, salt float64) {
	if p.macro < 1e-6 {
		run, salt = p.macro, p.macroSalt
		p.macro, p.macroSalt = 0, 0
		return run, salt
	}
	dry := 0.0
	var weight [layers]float64
	for i := range weight {
		weight[i] = p.g.volume[i] / p.g.total * math.Max(1-p.c.saturation(p.theta[i]), 0)
		dry += weight[i]
	}
	soakRate, runRate := dry/macroSoak, 1/macroDrain
	left := math.Exp(-(soakRate + runRate) * span)
	gone := p.macro * (1 - left)
	goneSalt := p.macroSalt * (1 - left)
	soaked := gone * soakRate / (soakRate + runRate)
	if dry > 0 {
		for i := range weight {
			source[i] += soaked * weight[i] / dry / span
			into[i] += goneSalt * soakRate / (soakRate + runRate) * weight[i] / dry
		}
	}
	p.macro -= gone
	p.macroSalt -= goneSalt
	return gone - soaked, goneSalt * runRate / (soakRate + runRate)
}

// carry moves salt after the water and counts what the crop took.
func (p *pot) carry(c *Crop, span float64, f *flows, pondBefore float64, uptake, into *[layers]float64) {
	var w, taken [layers]float64
	for i := range w {
		w[i] = p.theta[i] * p.g.volume[i]
		drunk := -uptake[i] * span
		p.sum.Uptake += drunk
		held := math.Max(w[i]+drunk, 1e-9)
		taken[i] = math.Min(c.UptakeEC, 0.9*p.salts[i]/held) * drunk
		p.sum.SaltTaken += math.Min(taken[i], p.salts[i]+into[i])
	}
	fed := 0.0
	if pondBefore > 1e-12 {
		fed = p.pondSalt * math.Min(f.edge[layers]/pondBefore, 1)
		p.pondSalt -= fed
	}
	out := p.salts.move(&w, f, fed, into, &taken)
	p.sum.SaltOut += out
	p.dripSalt += out
}

// drain counts what left the hole and lets it drip to the gauge.
func (p *pot) drain(span, out, ranSalt float64) {
	p.sum.Drained += out
	p.sum.SaltOut += ranSalt
	p.drip += out
	p.dripSalt += ranSalt
	share := -math.Expm1(-span / dripTime)
	p.sum.Caught += p.drip * share
	p.sum.SaltCaught += p.dripSalt * share
	p.drip -= p.drip * share
	p.dripSalt -= p.dripSalt * share
}

// age moves what is slow: wettability, warmth, breath, growth.
func (p *pot) age(c *Crop, span float64, air Air, e *effects) {
	top := (p.c.saturation(p.theta[layers-1]) + p.c.saturation(p.theta[layers-3])) / 2
	aim := math.Min(math.Max((top-0.08)/0.25, 0), 1)
	tau := 10 * 3600.0
	if aim > p.wettable {
		tau = 2400
	}
	p.wettable += (aim - p.wettable) * -math.Expm1(-span/tau)
	p.near *= math.Exp(-span / 1500)
	p.near += p.rate * span
	// a wetter and larger pot follows the air more slowly
	slow := 3600 * (1 + 2.5*p.water()/p.g.total) * math.Cbrt(p.g.total/5000)
	aimCel := air.Cel + (0.006+0.02*e.heat)*air.Inside + 6*e.heat
	p.cel += (aimCel - p.cel) * -math.Expm1(-span/slow)
	p.breathe(&p.soil, p.porous, p.cel, span)
	vigour := 1 + 3*e.growth
	p.grow(c, span, vigour, &p.chance)
	if p.rate > 0 || p.pond > 0 {
		p.shaken = 0
	} else {
		p.shaken += span
	}
}

// poreEC is the mean conductivity of the pore water, mS/cm.
func (p *pot) poreEC() float64 { return p.salts.total() / math.Max(p.water(), 1e-9) }

// meanContent is the water content over the container's volume, m3/m3.
func (p *pot) meanContent() float64 { return p.water() / p.g.total }

// saturatedShare is the share of the volume with less air than critical, with
// the water content straight between the layers' edges.
func (p *pot) saturatedShare(critical float64) float64 {
	limit, wet := p.porous-critical, 0.0
	for i := range p.theta {
		low, high := p.content(p.g.edge[i]), p.content(p.g.edge[i+1])
		share := 0.0
		switch {
		case low > limit && high > limit:
			share = 1
		case low > limit || high > limit:
			share = math.Abs(math.Max(low, high)-limit) / math.Max(math.Abs(low-high), 1e-12)
		}
		wet += p.g.volume[i] * math.Min(share, 1)
	}
	return wet / p.g.total
}

// content is the water content at a height, straight between the layers'
// middles, m3/m3.
func (p *pot) content(z float64) float64 { return between(&p.theta, &p.g.middle, z) }

// poreECAt is the conductivity of the pore water at a height, mS/cm.
func (p *pot) poreECAt(z float64) float64 {
	var ec [layers]float64
	for i := range ec {
		ec[i] = p.salts[i] / math.Max(p.theta[i]*p.g.volume[i], 1e-9)
	}
	return between(&ec, &p.g.middle, z)
}

func between(v, at *[layers]float64, z float64) float64 {
	if z <= at[0] {
		return v[0]
	}
	for i := 1; i < layers; i++ {
		if z <= at[i] {
			f := (z - at[i-1]) / (at[i] - at[i-1])
			return v[i-1] + f*(v[i]-v[i-1])
		}
	}
	return v[layers-1]
}
