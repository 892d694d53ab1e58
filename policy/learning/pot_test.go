package learning

import "math"

// pot is a container of its own for these tests: one well of water that the
// crop draws from by sun and a night share, shots of which a share runs
// through, drainage above capacity, a probe with noise. Plain enough to know
// what must be learned of it; the facility of policy/simulator is the finer one.
type pot struct {
	volume, capacity, capture, drainS float64
	perDay                            float64 // uptake, mL a day
	night                             float64 // share of the mean rate drunk at night
	noise                             float64
	sees                              float64 // of a change of level what the probe shows
	cloud                             func(day int) float64
	past                              func(level float64) float64 // share of a shot that runs past beyond capture's, nil: none

	at                  int64
	level               float64
	given, drunk, spilt float64
	random              uint64
}

func newPot(seed uint64) *pot {
	return &pot{volume: 7000, capacity: 0.6, capture: 0.85, drainS: 900, perDay: 1400, night: 0.2, noise: 0.001, sees: 1,
		cloud: func(int) float64 { return 1 }, at: 20_000 * dayMs, level: 0.55, random: seed*2862933555777941757 + 3037000493}
}

// uniform is splitmix64 (Steele, Lea and Flood 2014) as a number in [0, 1).
func (p *pot) uniform() float64 {
	p.random += 0x9e3779b97f4a7c15
	z := p.random
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

// normal is a standard normal number (Box and Muller 1958).
func (p *pot) normal() float64 {
	return math.Sqrt(-2*math.Log(1-p.uniform())) * math.Cos(2*math.Pi*p.uniform())
}

// demand is mean 1 over a day of clear sky.
func (p *pot) demand() float64 {
	hour := float64(mod(p.at, dayMs)) / float64(hourMs)
	sun := math.Max(0, math.Sin((hour-6)/12*math.Pi)) * math.Pi
	return p.night + (1-p.night)*sun*p.cloud(int(p.at/dayMs))
}

// run moves the pot to at in steps of 10 s.
func (p *pot) run(at int64) {
	for ; p.at < at; p.at += 10_000 {
		u := p.perDay / 86400 * p.demand() * 10
		d := 0.0
		if over := p.level - p.capacity; over > 0 {
			d = over * -math.Expm1(-10/p.drainS) * p.volume
		}
		p.level -= (u + d) / p.volume
		p.drunk += u
		p.spilt += d
	}
}

func (p *pot) shot(ml float64) {
	stays := p.capture
	if p.past != nil {
		stays *= 1 - p.past(p.level)
	}
	p.level += stays * ml / p.volume
	p.given += ml
	p.spilt += (1 - stays) * ml
}

func (p *pot) reading() float64 {
	level := 0.55 + p.sees*(p.level-0.55)
	return math.Round(math.Min(math.Max(level+p.noise*p.normal(), 0), 1)*10000) / 10000
}

// grower waters a pot by its level between 07:00 and 17:00.
type grower struct {
	trigger, ml float64
	last        int64
}

func (g *grower) wants(p *pot) bool {
	hour := mod(p.at, dayMs) / hourMs
	if hour < 7 || hour >= 17 || p.level > g.trigger || p.at-g.last < 25*minuteMs {
		return false
	}
	g.last = p.at
	return true
}

func potConstants(p *pot) *Constants {
	return &Constants{VolumeML: p.volume, DesignCapacity: 0.62, MinMean: 0.12, StressMean: 0.3, MaxMean: 0.85, DayStartS: 6 * 3600, DayEndS: 18 * 3600}
}

// play runs pot, grower and zone for so many days, a reading each every ms.
// told says whether waterings are reported; each sees every reading.
func play(p *pot, g *grower, z *Zone, c *Constants, days float64, every int64, told, climate bool, each func(ev Events)) {
	end := p.at + int64(days*float64(dayMs))
	for p.at < end {
		p.run(p.at + every)
		if g.wants(p) {
			if told {
				z.Water(c, p.at, g.ml, true)
			}
			p.shot(g.ml)
		}
		if climate {
			z.Demand(c, p.at, usualDemand*p.demand())
		}
		ev := z.Observe(c, p.at, p.reading(), p.noise)
		if each != nil {
			each(ev)
		}
	}
}
