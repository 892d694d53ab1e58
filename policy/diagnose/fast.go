package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// Fast is evidence of faults that must be told within a day: what comes of each
// shot, whether the zone falls while nobody waters it, and the probes.
type Fast struct {
	VolumeML, Capacity, Noise float32
	Reports                   bool
	Shots                     ShotTest
	Recently                  Recently
	Fall                      FallWatch
	Kept                      KeptWatch
	Awaited                   AwaitedWatch
	Unreported                Unreported
	Rises                     RiseWatch
	Probes                    [sensing.MaxProbes]ProbeWatch
	Round                     Round
	WorstProbe                uint8 // 1 + the probe that a sensor or emitter fault is seen at, 0: none
	WorstHealth               uint8
}

// FallWatch follows the zone from a reported watering on: without more water it
// must fall as the crop drinks.
type FallWatch struct {
	FromMs     int64 // 0: not watching
	WaterMs    int64 // reported watering that it follows
	Level      float64
	ExpectedML float64
	DrainMs    int64   // when the drain was last looked at
	SawMs      int64   // newest window that was judged
	Expected   float32 // of that, m3/m3
	Fell       float32
}

// Unreported is the newest watering that nobody reported.
type Unreported struct {
	AtMs int64
	Rise float32 // m3/m3
}

// look takes the zone as it is.
func (f *Fast) look(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	f.VolumeML, f.Capacity, f.Noise = float32(in.VolumeML), float32(in.Learned.Capacity), float32(in.Learned.Noise)
	f.Reports = in.Water.Reports
	f.still(in, base)
	if in.Current {
		f.shots(in, atMs, base, b)
		f.Rises.look(f, in, atMs, b)
		f.Fall.look(in, atMs, base, b)
		f.Awaited.look(in, atMs, base, b)
		if base.Of[Peak].Days >= 2 { // the first days, a zone is only settling
			f.Kept.look(in, atMs, base, b, f.Shots.dry(in, f.Kept.Level))
		}
	}
	f.probes(in, atMs, base.Of[Peak].Days >= 3, b)
}

// look judges whether the zone falls while nobody waters it.
func (w *FallWatch) look(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	if !in.Water.Reports || in.Water.ValveOpenMs != 0 || in.Water.LastMs > w.WaterMs || atMs-in.Water.LastMs < restMs {
		w.WaterMs, w.FromMs = in.Water.LastMs, 0
		return
	}
	w.drains(in, atMs, b)
	if w.FromMs == 0 || atMs-w.FromMs > 12*hourMs {
		w.FromMs, w.Level, w.ExpectedML = atMs, in.WaterContent, 0
		return
	}
	w.ExpectedML += usualUptake(in, base) * 300
	expected, fell := w.ExpectedML/in.VolumeML, w.Level-in.WaterContent
	noise := math.Max(in.Learned.Noise, 0.0007)
	rises := fell <= -math.Max(0.012, 6*noise)
	if expected < math.Max(leastFall, 3*noise) && !rises {
		return
	}
	w.SawMs, w.Expected, w.Fell, w.FromMs = atMs, float32(expected), float32(fell), 0
	if rises {
		b.add(ValveStuckOpen, 1.8)
		b.add(UnreportedWatering, 0.4)
		return
	}
	r := weights{e: fell/expected - 1, spread: math.Hypot(usualFall, 1.5*noise/expected)}
	r.say(ValveStuckOpen, -1, 0.3)
	share := 0.7
	if in.WaterContent < in.Learned.Capacity-leakLevel {
		share = 0.3 // a valve that leaks keeps a container full
	}
	no := math.Max(r.r[ValveStuckOpen], 0)
	r.r[Oversaturation], r.r[WeatherOrGrowth] = 0.1*no, 0.1*no
	if top := &base.Of[Peak]; top.Days >= leastDays && in.WaterContent > float64(top.Mean)+standsLevel {
		r.r[Oversaturation], r.r[ValveStuckOpen] = no, 0.3*r.r[ValveStuckOpen]
	}
	r.tell(b, share, 4)
}

const (
	// leastFall is the fall that is waited for before it is judged, m3/m3.
	leastFall = 0.006
	// usualFall is how far the fall of a healthy zone strays from what its baseline
	// says, as a share.
	usualFall = 0.35
	// leakLevel is how far below capacity a zone may be that a leak feeds, m3/m3.
	leakLevel = 0.02
	// standsLevel is how far above its usual peak a zone stands whose water cannot drain,
	// m3/m3: what leaks into one that drains lifts it by less.
	standsLevel = 0.04
	// lateDrain is the drain within an hour or two that is water still coming when
	// lateMs have passed since any was reported, as a share of the volume.
	lateDrain = 0.003
	lateMs    = 3 * hourMs
)

// drains weighs, once an hour, drain that goes on long after any water that was
// reported.
func (w *FallWatch) drains(in *Inputs, atMs int64, b *Belief) {
	if atMs-in.Water.LastMs < lateMs || atMs-w.DrainMs < hourMs {
		return
	}
	w.DrainMs = atMs
	if in.Water.DrainHourML > lateDrain*in.VolumeML {
		b.add(ValveStuckOpen, 1)
	}
}

// usualUptake is what this zone would take up now by its own baseline, mL/s, or
// by the balance before there is one: as its water content shows it.
func usualUptake(in *Inputs, base *Baselines) float64 {
	k := UptakeNight
	if in.Daytime {
		k = UptakeDay
	}
	rate := in.Learned.RateLog + math.Log(in.Learned.gain())
	if u := &base.Of[k]; u.Days >= leastDays {
		rate = math.Min(math.Max(float64(u.Mean+u.Trend), rate-1.5), rate+1.5)
	}
	return math.Exp(rate) * drawn(in)
}
