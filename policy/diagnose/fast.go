package diagnose

import (
	"math"

	"rhizostat/policy/learning"
	"rhizostat/policy/sensing"
)

// Fast is evidence of faults that must be told within a day: what comes of each
// shot, whether the zone falls while nobody waters it, and the probes.
type Fast struct {
	VolumeML, Capacity, Noise float32
	Reports                   bool
	Shots                     ShotResponse
	Fall                      FallWatch
	Kept                      KeptWatch
	Unreported                Unreported
	Probes                    [sensing.MaxProbes]ProbeWatch
	Round                     Round
	WorstProbe                uint8 // 1 + the probe that a sensor or emitter fault is seen at, 0: none
	WorstHealth               uint8
}

// ShotResponse is what reported shots do to the zone's water content.
type ShotResponse struct {
	Mean, Var float32 // of ln of the rise per mL times the volume
	Shots     int32
	Recent    float32 // leaky mean of the newest
	From      float32 // water content that shots begin from, mean
	FromVar   float32
	Lost      uint8 // in a row that did not show at all
	LostMs    int64 // the first of them
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

// leastHand is the least rise that is taken for a watering by hand, m3/m3: one that
// a person would call a watering (common practice, no source).
const leastHand = 0.025

// happened takes the events of an observation.
func (f *Fast) happened(ev *learning.Events, b *Belief) {
	s := &f.Shots
	if ev.MissedAtMs != 0 {
		if s.Lost == 0 {
			s.LostMs = ev.MissedAtMs
		}
		s.Lost = min(s.Lost+1, 250)
		if s.Lost == 1 {
			b.add(ValveStuckClosed, lostFirst)
		} else {
			b.add(ValveStuckClosed, lostShut)
		}
		b.add(EmitterFault, lostEmitter)
	}
	if ev.EndedAtMs == 0 {
		return
	}
	if !ev.EndedKnown {
		if f.Reports && ev.EndedRise > math.Max(leastHand, 10*float64(f.Noise)) {
			f.Unreported = Unreported{AtMs: ev.EndedAtMs, Rise: float32(ev.EndedRise)}
			b.add(UnreportedWatering, 6.5)
			b.add(ValveStuckOpen, 1)
		}
		return
	}
	if x, sd, ok := riseOf(ev, float64(f.VolumeML), float64(f.Capacity), float64(f.Noise)); ok && ev.EndedRise > 0 {
		s.take(ev.EndedFrom, x, sd, b)
	}
}

// What one shot that never showed says (log likelihood ratios): an emitter or two
// that block leave something; a closed valve leaves nothing.
const (
	lostShut    = 2.6
	lostFirst   = 1.2 // one may have been missed by the probes
	lostEmitter = 1.2
	// leastShots that were seen make a response to hold the next against.
	leastShots = 6
)

// take weighs the response of one shot. Shots of one day share their causes of
// error, so that each counts a half.
func (s *ShotResponse) take(from, x, sd float64, b *Belief) {
	const share = 0.5
	s.Lost = 0
	if s.Shots == 0 {
		s.Mean, s.Recent, s.From = float32(x), float32(x), float32(from)
	}
	if s.dry(from) {
		return // dry substrate repels water: that is no fault of what brings it
	}
	s.Recent += 0.35 * (float32(x) - s.Recent)
	e := x - float64(s.Mean)
	if s.Shots >= leastShots {
		spread := math.Sqrt(float64(s.Var) + 0.15*0.15 + sd*sd)
		r := weights{e: e, spread: spread}
		r.say(EmitterFault, -0.8, 0.5)
		r.say(EdgeChannelling, -0.45, 0.2)
		r.say(ValveStuckClosed, -2.5, 0.4)
		r.tell(b, share, 3)
		if e > math.Log(0.4) {
			b.add(ValveStuckClosed, -3) // a shot that shows came through the valve
		}
		if b.trouble() > frozenAt && e < 0 {
			return
		}
		e = math.Min(math.Max(e, -clip*spread), clip*spread)
	}
	s.Shots = min(s.Shots+1, 10000)
	w := math.Max(1/float64(s.Shots), 0.03)
	s.Mean += float32(w * e)
	s.Var = float32((1 - w) * (float64(s.Var) + w*e*e))
	d := from - float64(s.From)
	s.From += float32(w * d)
	s.FromVar = float32((1 - w) * (float64(s.FromVar) + w*d*d))
}

// dry tells a water content below those that shots usually begin from.
func (s *ShotResponse) dry(from float64) bool {
	return s.Shots >= leastShots && from < float64(s.From)-math.Max(0.04, 2.5*math.Sqrt(float64(s.FromVar)))
}

// look takes the zone as it is.
func (f *Fast) look(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	f.VolumeML, f.Capacity, f.Noise = float32(in.VolumeML), float32(in.Learned.Capacity), float32(in.Learned.Noise)
	f.Reports = in.Water.Reports
	if in.Current {
		f.Fall.look(in, atMs, base, b)
		if base.Of[Peak].Days >= 2 { // the first days, a zone is only settling
			f.Kept.look(in, atMs, base, b, f.Shots.dry(f.Kept.Level))
		}
	}
	f.probes(in, atMs, b)
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
	rises := fell <= -math.Max(0.012, 6*in.Learned.Noise)
	if expected < math.Max(leastFall, 4*in.Learned.Noise) && !rises {
		return
	}
	w.SawMs, w.Expected, w.Fell, w.FromMs = atMs, float32(expected), float32(fell), 0
	weight := math.Min(expected/fullFall, 1)
	switch share := fell / math.Max(expected, 1e-6); {
	case rises:
		b.add(ValveStuckOpen, 1.8)
		b.add(UnreportedWatering, 0.4)
	case share < 0.1:
		b.add(ValveStuckOpen, 2*weight)
		b.add(Oversaturation, 0.2*weight)
		b.add(WeatherOrGrowth, 0.15)
	case share < 0.3:
		b.add(ValveStuckOpen, 0.5*weight)
		b.add(WeatherOrGrowth, 0.15)
	default:
		b.add(ValveStuckOpen, -1.2)
	}
}

const (
	// leastFall is the fall that is waited for before it is judged, m3/m3, and
	// fullFall one that counts whole.
	leastFall, fullFall = 0.007, 0.012
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
// by the balance before there is one.
func usualUptake(in *Inputs, base *Baselines) float64 {
	k := UptakeNight
	if in.Daytime {
		k = UptakeDay
	}
	rate := in.Learned.RateLog
	if u := &base.Of[k]; u.Days >= leastDays {
		rate = math.Min(math.Max(float64(u.Mean+u.Trend), rate-1.5), rate+1.5)
	}
	return math.Exp(rate) * drawn(in)
}
