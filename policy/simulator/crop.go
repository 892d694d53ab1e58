package simulator

import "math"

// Crop is how the plants of a zone drink.
type Crop struct {
	// GroundM2 is the ground one container's plants cover, m2.
	GroundM2 float64
	// LeafArea is the leaf area index at the start, LeafAreaFull what it grows
	// to, GrowthPerDay the rate of its logistic growth, 1/d.
	LeafArea, LeafAreaFull, GrowthPerDay float64
	// RadiationShare and AerodynamicDay, AerodynamicNight are A and B of the
	// simplified formula of transpiration (Baille, Baille & Laury 1994, Sci.
	// Hortic. 59; used for soilless cucumber by Medrano et al. 2005, Sci.
	// Hortic. 105; the sizes of A, 0.2 to 0.7, and B, 5 to 40 W/m2/kPa, are
	// from memory).
	RadiationShare                   float64
	AerodynamicDay, AerodynamicNight float64
	// SpreadPlants is the standard deviation of the logarithm of plant size
	// among containers; SpreadDays that of a wander of drinking over days that
	// no weather explains.
	SpreadPlants, SpreadDays float64
	// RootDepth is the depth over which roots thin to 1/e, as a share of the
	// fill, at the start and when the container is rooted through.
	RootDepth, RootDepthFull float64
	// RootShare is the pore space that roots fill at the start and when grown,
	// m3/m3.
	RootShare, RootShareFull float64
	// StressSuctionCM halves the uptake of a layer (van Genuchten 1987); of a
	// leafy crop in substrate 100 to 500 cm.
	StressSuctionCM float64
	// UptakeEC is the salt taken with the water, mS/cm.
	UptakeEC float64
}

// plant is one container's plants.
type plant struct {
	size   float64 // of the average plant, 1
	leaf   float64 // leaf area index
	rooted float64 // 0 young to 1 rooted through
	wander float64 // standard normal, of days
	wet    float64 // 0 to 1, how far wet roots have lost their breath
	weight [layers]float64
}

// grow lets dt pass, s; vigour speeds or slows growth, prune takes the share of
// leaves below 1.
func (p *plant) grow(c *Crop, dt, vigour float64, chance *random) {
	days := dt / 86400
	p.leaf += c.GrowthPerDay * vigour * p.leaf * (1 - p.leaf/c.LeafAreaFull) * days
	p.rooted += 0.04 * vigour * p.rooted * (1 - p.rooted) * days
	p.wander = chance.wander(p.wander, dt, 1.5*86400)
}

// root spreads the roots over the layers of a container.
func (p *plant) root(c *Crop, g *grid) {
	height := g.edge[layers]
	depth := height * (c.RootDepth + (c.RootDepthFull-c.RootDepth)*p.rooted)
	sum := 0.0
	for i := range p.weight {
		p.weight[i] = g.volume[i] * math.Exp(-(height-g.middle[i])/depth)
		sum += p.weight[i]
	}
	for i := range p.weight {
		p.weight[i] /= sum
	}
}

// latent is the heat that a mL of water takes to evaporate, J (2.45 MJ/kg,
// FAO-56 eq. in chapter 3).
const latent = 2450.0

// demand is what the climate asks of a container's plants, mL/s, with water at
// will:
//
//	A (1 - exp(-k L)) G + B L D, over the latent heat, k = 0.7
//
// G radiation in the house W/m2, D deficit kPa, L leaf area. The aerodynamic
// part goes from its night to its day value as stomata open with light.
func (p *plant) demand(c *Crop, air Air) float64 {
	open := 1 - math.Exp(-air.Inside/80)
	b := c.AerodynamicNight + (c.AerodynamicDay-c.AerodynamicNight)*open
	leaf := math.Min(p.leaf, 4) // leaves deeper in a stand see no dry air (common practice, no source)
	w := c.RadiationShare*(1-math.Exp(-0.7*p.leaf))*air.Inside + b*leaf*air.Deficit
	return w / latent * c.GroundM2 * p.size * math.Exp(c.SpreadDays*p.wander)
}

// compensation is the least share of unstressed roots that still carries the
// whole demand (Jarvis 1989, J. Hydrol. 107; 0.5 from memory).
const compensation = 0.5

// take shares a demand, mL/s, out over the layers: each gives after its roots
// and its suction.
func (p *plant) take(c *Crop, s *soil, demand float64) (source [layers]float64, total float64) {
	var pull [layers]float64
	sum := 0.0
	for i := range pull {
		x := math.Max(s.at(i, s.theta[i], s.theta[i] >= s.c.ThetaS).s, 0) / c.StressSuctionCM
		pull[i] = p.weight[i] / (1 + x*x*x)
		// the last of the water cannot be had whatever the suction
		pull[i] *= math.Min(1, 40*s.c.saturation(s.theta[i]))
		sum += pull[i]
	}
	if sum <= 0 || demand <= 0 {
		return source, 0
	}
	for i := range pull {
		u := demand * pull[i] / math.Max(sum, compensation)
		source[i] = -u
		total += u
	}
	return source, total
}

// breathe lets wet roots lose or regain their strength over dt: roots in layers
// with less than 0.08 of air count as drowned; harm comes over a day or two and
// twice as fast per 10 K (harm within 6 to 48 h, general plant physiology;
// from memory).
func (p *plant) breathe(s *soil, porosity, warmth, dt float64) {
	drowned := 0.0
	for i := range p.weight {
		if porosity-s.theta[i] < 0.08 {
			drowned += p.weight[i]
		}
	}
	tau := 30 * 3600 / math.Pow(2, (warmth-20)/10)
	if drowned < p.wet {
		tau = 48 * 3600
	}
	p.wet += (drowned - p.wet) * -math.Expm1(-dt/tau)
}

// vigour is the share of the demand that the roots can carry: wet roots, roots
// above 35 Cel (growth is reduced above 35 to 40 Cel: Handreck & Black 1984)
// and salt above 3.5 mS/cm of pore water (Maas & Hoffman 1977 form, 5 % per
// mS/cm; from memory) lower it.
func (p *plant) vigour(warmth, poreEC float64) float64 {
	v := 1 - 0.7*math.Max(p.wet-0.45, 0)/0.55
	v *= 1 - math.Min(math.Max(warmth-34, 0)*0.06, 0.6)
	return v * (1 - math.Min(math.Max(poreEC-3.5, 0)*0.05, 0.7))
}
