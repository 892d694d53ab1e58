package sensing

import (
	"math"
	"math/rand/v2"
)

// A small zone to try health and consensus on: a water content that shots lift,
// drainage and a crop lower, and probes that see it through their own gain, lag,
// offset and noise. It shares nothing with the package but the readings.
type trialZone struct {
	rng      *rand.Rand
	capacity float64
	perDay   float64 // uptake, m3/m3 a day
	shots    int
	rise     float64
	reports  bool // water is reported
	atMs     int64
	water    float64
	free     float64 // above capacity, draining
	shot     float64 // that came in this step, m3/m3
	lastShot int64
	probes   []trialProbe
}

type trialProbe struct {
	everyMs    int64
	nextMs     int64
	offset     float64
	gain       float64
	lagMs      float64
	noise      float64
	resolution float64
	seen       float64 // what the lag leaves
	started    bool
	fault      func(atMs int64, reading float64) (float64, bool) // nil: none; false: silent
	dry        bool                                              // its emitter is blocked
	short      float64                                           // share of each shot that its container does not get
	own        float64                                           // of a dry one, or of one that is kept short
}

func newTrialZone(seed uint64, probes int, everyMs int64) *trialZone {
	rng := rand.New(rand.NewPCG(seed, 11))
	z := &trialZone{rng: rng, capacity: 0.45 + 0.35*rng.Float64(), perDay: 0.06 + 0.2*rng.Float64(),
		shots: 3 + rng.IntN(12), reports: rng.IntN(2) == 0, atMs: trialStartMs}
	z.rise = z.perDay / float64(z.shots) * (1.05 + 0.3*rng.Float64())
	z.water = z.capacity - 0.03
	for i := range probes {
		z.probes = append(z.probes, trialProbe{
			everyMs: everyMs, nextMs: z.atMs + int64(i)*everyMs/int64(probes+1),
			offset: 0.06 * rng.NormFloat64(), gain: 1 + trialGain*(2*rng.Float64()-1),
			lagMs: float64(minuteMs) * (1 + trialLag*rng.Float64()),
			noise: 0.0003 + 0.0015*rng.Float64(), resolution: []float64{0.001, 0.0001, 0.001, 0.005}[rng.IntN(4)],
		})
	}
	return z
}

// How far probes of the trials differ in how much and how fast they see.
var (
	trialGain = 0.3
	trialLag  = 14.0
)

const (
	trialStepMs  = 10 * 1000
	trialStartMs = int64(1_760_000_000_000)
)

// run goes on for a while and hands every reading to take, and every minute to
// each.
func (z *trialZone) run(forMs int64, take func(probe int, atMs int64, reading float64), each func(atMs int64)) {
	end := z.atMs + forMs
	for z.atMs < end {
		z.atMs += trialStepMs
		z.step()
		for i := range z.probes {
			p := &z.probes[i]
			z.see(p)
			if z.atMs < p.nextMs {
				continue
			}
			p.nextMs += p.everyMs
			reading := p.seen + p.noise*z.rng.NormFloat64()
			said := true
			if p.fault != nil {
				reading, said = p.fault(z.atMs, reading)
			}
			if said {
				reading = math.Round(reading/p.resolution) * p.resolution
				take(i, z.atMs, math.Min(math.Max(reading, 0), 1))
			}
		}
		if z.atMs%minuteMs == 0 && each != nil {
			each(z.atMs)
		}
	}
}

// step moves the water: a crop that drinks by the sun from 6 to 20 h, shots from
// 7 h on, drainage within the hour.
func (z *trialZone) step() {
	day := float64(z.atMs%dayMs) / float64(dayMs)
	dt := float64(trialStepMs) / float64(dayMs)
	z.water -= z.drink(day) * dt
	flow := z.free * math.Min(dt*24*2, 1)
	z.free -= flow
	z.shot = 0
	first, last := 7.0/24, 19.0/24
	every := int64((last - first) / float64(z.shots) * float64(dayMs))
	since := z.atMs%dayMs - int64(first*float64(dayMs))
	if since >= 0 && day < last && since%every < trialStepMs {
		z.water += z.rise
		z.shot = z.rise
		z.lastShot = z.atMs
		if z.water > z.capacity {
			z.free += z.water - z.capacity
			z.water = z.capacity
		}
	}
}

func (z *trialZone) drink(day float64) float64 {
	sun := math.Max(math.Sin(math.Pi*(day*24-6)/14), 0)
	if day*24 < 6 || day*24 > 20 {
		sun = 0
	}
	return z.perDay * (0.08 + 2.4*sun)
}

func (z *trialZone) truth() float64 { return z.water + z.free }

func (z *trialZone) see(p *trialProbe) {
	truth := z.truth()
	drunk := z.drink(float64(z.atMs%dayMs)/float64(dayMs)) * float64(trialStepMs) / float64(dayMs)
	switch {
	case p.dry:
		p.own -= drunk * math.Max(p.own/z.capacity-0.2, 0)
		truth = p.own
	case p.short > 0:
		p.own = math.Min(p.own+(1-p.short)*z.shot-drunk*math.Min(5*math.Max(p.own/z.capacity-0.2, 0), 1), z.capacity)
		truth = p.own
	default:
		p.own = truth
	}
	want := z.capacity + p.gain*(truth-z.capacity) + p.offset
	if !p.started {
		p.seen, p.started = want, true
	}
	p.seen += (want - p.seen) * math.Min(float64(trialStepMs)/p.lagMs, 1)
}

// reported is what the panel is told of water.
func (z *trialZone) reported() int64 {
	if z.reports {
		return z.lastShot
	}
	return 0
}
