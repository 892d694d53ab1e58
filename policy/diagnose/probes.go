package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// ProbeWatch is how one probe answers to reported waterings beside the others,
// and how long it has been ill.
type ProbeWatch struct {
	IllS   float32 // s, leaking
	Before float32 // its level when the watering of the round came, m3/m3
	High   float32 // its highest level, fading over half a day
	Usual  float32 // rise over the others' rise, slow mean
	Recent float32 // ... of the newest few
	Rounds uint16
	Low    uint8 // rounds in a row far below the usual
}

// Round is one reported watering whose answer is awaited.
type Round struct {
	WaterMs int64
	Open    bool
}

const (
	roundMs   = 35 * 60 * 1000
	illS      = 3600     // of illness before it is said
	staleS    = 2 * 3600 // likewise of silence
	leastUp   = 0.006    // rise of the others that asks for an answer, m3/m3
	lowAnswer = 0.45     // of the usual answer
)

// probes weighs the probes: ill ones, and ones whose container gets less water
// than the others.
func (f *Fast) probes(in *Inputs, atMs int64, b *Belief) {
	f.rounds(in, atMs, b)
	f.WorstProbe, f.WorstHealth = 0, 0
	worst := float32(0)
	low := false
	for i := range in.Probes[:in.ProbeCount] {
		p, w := &in.Probes[i], &f.Probes[i]
		if !p.Heard {
			continue
		}
		w.High = max(w.High-0.007*(w.High-float32(p.Mean)), float32(p.Mean))
		if p.Health.Usable() {
			w.IllS = max(w.IllS-600, 0)
		} else {
			w.IllS = min(w.IllS+300, 24*3600)
		}
		if w.Low >= 3 && w.lively(p) && !low {
			// its container gets no water: the probe says so rightly
			low = true
			f.WorstProbe, f.WorstHealth = uint8(i+1), uint8(p.Health)
			continue
		}
		limit := float32(illS)
		if p.Health == sensing.Stale {
			limit = staleS
		}
		if w.IllS >= limit && w.IllS > worst && !p.Health.Usable() && !low {
			worst = w.IllS
			f.WorstProbe, f.WorstHealth = uint8(i+1), uint8(p.Health)
		}
	}
	if worst > 0 && !low {
		b.toward(SensorFault, 4, 0.6)
	}
}

// lively tells a probe that follows the crop's drinking from one that is stuck.
func (w *ProbeWatch) lively(p *Probe) bool {
	return p.Health != sensing.Stuck && p.Health != sensing.OutOfRange && float64(w.High)-p.Mean > 0.01
}

// rounds opens a round at each reported watering and closes it once its water has
// reached the probes.
func (f *Fast) rounds(in *Inputs, atMs int64, b *Belief) {
	r := &f.Round
	if r.Open && atMs-r.WaterMs >= roundMs {
		r.Open = false
		f.closeRound(in, atMs, b)
	}
	if in.Water.LastMs > r.WaterMs && !r.Open && atMs-in.Water.LastMs < 10*60*1000 {
		r.WaterMs, r.Open = in.Water.LastMs, true
		for i := range in.Probes[:in.ProbeCount] {
			f.Probes[i].Before = float32(in.Probes[i].Mean)
		}
	}
}

// closeRound compares each probe's answer with the others'.
func (f *Fast) closeRound(in *Inputs, atMs int64, b *Belief) {
	for i := range in.Probes[:in.ProbeCount] {
		p, w := &in.Probes[i], &f.Probes[i]
		if !p.Heard || atMs-p.AtMs > roundMs {
			continue
		}
		sum, n := 0.0, 0.0
		for j := range in.Probes[:in.ProbeCount] {
			q := &in.Probes[j]
			if j != i && q.Heard && q.Health.Usable() && atMs-q.AtMs <= roundMs {
				sum += q.Mean - float64(f.Probes[j].Before)
				n++
			}
		}
		if n == 0 || sum/n < math.Max(leastUp, 5*in.Learned.Noise) {
			continue
		}
		w.answer(math.Min(math.Max((p.Mean-float64(w.Before))/(sum/n), -0.5), 4), p, b)
	}
}

// answer takes a probe's rise over the others'.
func (w *ProbeWatch) answer(x float64, p *Probe, b *Belief) {
	if w.Rounds == 0 {
		w.Usual, w.Recent = float32(x), float32(x)
	}
	w.Recent += 0.4 * (float32(x) - w.Recent)
	if w.Rounds < leastShots || w.Usual < 0.2 {
		w.Rounds++
		w.Usual += float32(x-float64(w.Usual)) / float32(w.Rounds)
		return
	}
	if w.Recent < lowAnswer*w.Usual {
		w.Low = min(w.Low+1, 250)
		if w.Low >= 3 && w.lively(p) {
			b.add(EmitterFault, 1.2)
			b.add(SensorFault, -0.5)
		}
		return
	}
	if w.Low > 0 {
		w.Low--
	}
	w.Rounds = min(w.Rounds+1, 1000)
	w.Usual += 0.05 * (float32(x) - w.Usual)
}
