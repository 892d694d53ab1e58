package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// ProbeWatch is how one probe answers to reported waterings beside the others,
// and how long it has been ill.
type ProbeWatch struct {
	IllS    float32 // s, leaking
	Before  float32 // its level when the watering of the round came, m3/m3
	High    float32 // its highest level, fading over a day: what fell by day is remembered by night
	Usual   float32 // rise over the others' rise, slow mean
	Var     float32 // variance of that
	Recent  float32 // mean of the newest few
	Last    int8    // the newest, in lastSteps to 1
	Stood   float32 // by how much its highest lay above the others' when it may have been cut off, m3/m3
	StoodN  uint16  // looks since then, 0: it has its water
	Drunk   float32 // by what its plant lowered its container since it last answered, m3/m3
	Odds    float32 // log odds that its container gets no water against that it gets its share
	Rounds  uint16
	Parched bool    // its zone lies below the refill point, where substrate repels water
	From    float32 // level from which it usually rises, slow mean, m3/m3
	Low     lowness // what its low level is put down to, until it is where the others are again
	Dry     uint16  // looks for which a container that was cut off has had its water again
}

// lowness is what a probe's level below the others' is put down to.
type lowness uint8

const (
	notLow  lowness = iota
	fellLow         // it fell there while it was followed: it may err, or its container be dry
	cutLow          // shots told that its container gets no water: it is dry
)

// dryLooks is for how many looks a container that gets its water again may be dry yet: it
// comes back to where the others are within three days (common practice, no source). A probe
// that differs after that errs.
const dryLooks = uint16(3 * dayMs / (5 * 60_000))

// Stepped is a step of a probe that no water explains.
type Stepped struct {
	AtMs     int64   // 0: none
	From, To float32 // m3/m3 at the probe
}

const (
	illS      = 2 * 3600  // of illness before it is said
	staleS    = 1 * 3600  // likewise of silence, which is seen and not inferred
	longIllS  = 18 * 3600 // likewise of a difference, which often mends itself
	driftIllS = 8 * 3600  // of a difference that moves over days
	// dryFall is what such a container has fallen by more than the others, m3/m3, well beyond
	// noise, and leastDryFall the same where its plant did not drink more than twice as much
	// since its last water: a small plant takes days for the former (common practice, no source).
	dryFall, leastDryFall = 0.02, 0.008
	dryOdds               = 4.0 // log odds from which a container is taken to get no water
	// silentOdds is the log odds of the shots alone from which the fall counts beside them: a
	// probe that is pulled or drifts falls, too, and goes on answering.
	silentOdds = 0.7
	// soundFall is how much more one container of a sound zone falls than the others, m3/m3,
	// as standard deviation, rounded up: on 76 simulated facilities 0.008, beyond 0.02 at 1
	// shot in 100 and beyond 0.04 at 2 in 1,000. mostFell bounds what the fall says.
	soundFall, mostFell = 0.015, 4.0
)

// fellOdds is the log likelihood ratio of a container that gets no water having fallen by so
// many m3/m3 more than the others, against a sound one.
func fellOdds(more float64) float64 {
	z := more / soundFall
	return math.Min(math.Max(0.5*z*z-1, 0), mostFell)
}

// probes weighs the probes: ill ones, and ones whose container gets less water
// than the others. Of a zone that is not known it is not known for how long its
// probes may say the same.
func (f *Fast) probes(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	known := base.Of[Peak].Days >= 3
	f.rounds(in, atMs)
	f.Drifts.look(in, atMs)
	f.WorstProbe, f.WorstHealth, f.WorstStep = 0, 0, Stepped{}
	emitter, sensor := 0.0, 0.0
	for i := range in.Probes[:in.ProbeCount] {
		p, w := &in.Probes[i], f.Probes.At(i)
		if !p.Heard {
			continue
		}
		w.High = max(w.High-0.0035*(w.High-float32(p.Mean)), float32(p.Mean))
		still := f.Recently.Still.At(i)
		switch {
		case p.Health.Usable():
			w.IllS = max(w.IllS-600, 0)
		case p.Health == sensing.Stuck && !still.Others.moved(still.frozenWay()):
			// the others of its zone stand as still
		default:
			w.IllS = min(w.IllS+300, 48*3600)
		}
		if !known && p.Health == sensing.Jumping {
			continue // it settles in, or people are still at work
		}
		dried := w.Low == cutLow && p.Mean < in.refill() // where nothing moves any more
		dead := known && !dried && still.dead()
		more := f.fellMore(in, i)
		w.Parched = in.WaterContent < in.refill()
		w.Drunk = min(w.Drunk+float32(in.Learned.gain()*in.Learned.Limit*in.Learned.Uptake5ML/in.VolumeML), 1)
		w.lower(p, more, dead)
		e, s := w.weigh(p, more, dead, !dried && still.frozen())
		if dried && p.Health == sensing.Stuck {
			e, s = split(4, float64(w.Odds))
		}
		if w.Low == cutLow && w.Odds < 0 {
			b.ease(EmitterFault, wellOdds, wellStep) // its container gets water again, though it is not full yet
		}
		stepped := 0.0
		if known && p.SteppedMs > f.LookedMs { // before a zone is known people are still at work
			stepped = p.steppedOdds(in, atMs, base)
		}
		s = math.Max(s, stepped)
		if f.Unreported.stuckUp(atMs) && p.Health.Usable() {
			s = math.Max(s, staysOdds)
		}
		if math.Max(e, s) > math.Max(emitter, sensor) {
			f.WorstProbe, f.WorstHealth = uint8(i+1), uint8(p.Health)
			if dead {
				f.WorstHealth = uint8(sensing.Stuck)
			}
			f.WorstStep = Stepped{}
			if p.Health.Usable() && stepped > 0 {
				f.WorstStep = Stepped{p.SteppedMs, float32(p.SteppedFrom), float32(p.SteppedTo)}
			}
		}
		emitter, sensor = math.Max(emitter, e), math.Max(sensor, s)
	}
	if e, s := f.driftingOdds(in, atMs); known && math.Max(e, s) > math.Max(emitter, sensor) {
		f.WorstProbe, f.WorstHealth, f.WorstStep = f.Drifts.Worst, uint8(sensing.Drifting), Stepped{}
		emitter, sensor = e, s
	}
	if emitter > 0 {
		b.toward(EmitterFault, emitter, 0.5)
	}
	if sensor > 0 {
		b.toward(SensorFault, sensor, 0.6)
	}
	if emitter > 0 && sensor > 0 && f.partedProbe() >= 0 {
		// the two share what they cannot be told apart by: a day that shows nothing of the
		// zone's other containers does not make it the probe
		b.toward(EmitterFault, math.Min(emitter, float64(b.LogOdds[SensorFault])+priors[SensorFault].logOdds+emitter-sensor), most)
	}
	switch {
	case emitter > sensor:
		b.lower(SensorFault, sensor)
	case sensor == 0:
		b.ease(SensorFault, wellOdds, wellStep)
	}
}

const (
	// wellOdds is where the log odds of a sensor fault return to, by wellStep a look,
	// while no probe is ill: what was said of one that has mended is over.
	wellOdds, wellStep = -1.5, 0.05
	// honestDrift is how far probes of one zone part company by themselves within
	// weeks, m3/m3, as standard deviation: plants and emitters differ from container to
	// container, and roots grow into a probe's reach. A probe that drifts is as likely
	// to be anywhere up to wildDrift off (common practice, no source; the recorded slabs
	// part by 0.02, 0.03 and 0.1 within two months, simulated containers of one zone by
	// up to 0.12 as they dry).
	honestDrift, wildDrift = 0.04, 0.2
)

// driftOdds is the log odds of a probe being ill whose difference from its peers has
// moved by m3/m3, prior included: a half normal density against an even one.
func driftOdds(moved float64) float64 {
	z := moved / honestDrift
	return priors[SensorFault].logOdds + 0.5*z*z - math.Log(wildDrift/honestDrift*math.Sqrt(2/math.Pi))
}

const (
	// steppedMs is for how long a probe that went to another level is told at least, and roomMs
	// for how long the zone's water content tells what room there was for a rise.
	steppedMs, roomMs = 2 * dayMs, 6 * hourMs
	// movedOdds are the log odds of a probe that fell as no water can, or rose by more than
	// its container had room for; loneOdds those of one that rose alone: somebody may also
	// have watered its container by hand (common practice, no source).
	movedOdds, loneOdds = 4, 1.5
	// stillOff is how far a day's peak lies off the usual where a step is still to be seen in
	// it, in standard deviations.
	stillOff = 1.2
)

// steppedOdds is the log odds of a probe having been moved, knocked or pulled: it went to
// another level at once and stayed. 0 for no reason to think so. Beside others such a probe
// has a new offset within two days; where it is the only one, its level is the zone's, and the
// step is told for as long as the zone's peaks lie where it went.
func (p *Probe) steppedOdds(in *Inputs, atMs int64, base *Baselines) float64 {
	if p.SteppedMs == 0 {
		return 0
	}
	rise, age := p.SteppedTo-p.SteppedFrom, atMs-p.SteppedMs
	if peak := &base.Of[Peak]; age >= steppedMs && (usableProbes(in) != 1 || !p.Health.Usable() || peak.older(atMs, steppedMs) || float64(peak.Off)*rise < stillOff*math.Abs(rise)) {
		return 0
	}
	if rise > 0 && (age > roomMs || in.WaterContent+rise < in.Learned.Capacity+overLevel) {
		return loneOdds
	}
	return movedOdds
}

// weigh gives the log odds of an emitter and of a sensor fault at one probe, 0 for
// no reason to think of it. A probe that leaves its peers and does not rise at their
// shots, yet falls as the crop drinks, may tell the truth of a container that gets
// no water; one that answers as ever has itself drifted.
func (w *ProbeWatch) weigh(p *Probe, fellMore float64, dead, frozen bool) (emitter, sensor float64) {
	odds := float64(w.Odds)
	wait := patience(p.Health, frozen)
	if odds > 1 && wait == longIllS {
		wait = illS // two things say so
	}
	ill := !p.Health.Usable() && w.IllS >= wait
	switch {
	case dead:
		return 0, 4
	case odds >= dryOdds && w.lively(p) && w.silent(p) && fellMore > w.dryFall():
		return math.Min(1+odds, 5), 0
	case odds > silentOdds && odds+fellOdds(fellMore) >= dryOdds && w.lively(p) && w.silent(p) && fellMore > w.dryFall():
		return math.Min(1+odds+fellOdds(fellMore), 5), 0
	case ill && parts(p.Health) && w.Low == cutLow && odds < silentOdds:
		return 0, 0 // what was cut off stays dry for days after the water is back
	case ill && p.Health == sensing.Drifting && odds <= 1:
		// a container that gets less than its plant drinks answers to its shots, and parts over days
		return split(math.Min(driftOdds(p.Parted), 4), math.Max(odds, 0)) // below even odds it is no reason yet
	case ill && parts(p.Health) && w.Low != notLow:
		return split(4, odds)
	case ill:
		return 0, 4
	}
	return 0, 0
}

// parts tells an illness that is a difference from the others and nothing else.
func parts(h sensing.Health) bool { return h == sensing.Disagreeing || h == sensing.Drifting }

// split shares the log odds of a probe that parts from the others between its container
// getting another share of the water, which has log odds dry against its erring, and that.
func split(all, dry float64) (emitter, sensor float64) {
	return all - math.Log1p(math.Exp(-dry)), all - math.Log1p(math.Exp(dry))
}

// partedProbe is the probe that is told for its difference from the others, -1 none: it may
// err, or its container be drier or wetter than theirs.
func (f *Fast) partedProbe() int {
	if !parts(sensing.Health(f.WorstHealth)) {
		return -1
	}
	return int(f.WorstProbe) - 1
}

// lower follows what a probe's low level is put down to.
func (w *ProbeWatch) lower(p *Probe, fellMore float64, dead bool) {
	switch {
	case dead || p.SteppedMs != 0 && p.AtMs-p.SteppedMs < steppedMs:
		w.Low = notLow
	case float64(w.Odds) >= dryOdds && w.silent(p) && fellMore > w.dryFall():
		w.Low, w.Dry = cutLow, 0
	case w.Low == cutLow && w.Odds < 0 && w.Dry >= dryLooks:
		w.Low = notLow
	case p.Health.Usable():
		if w.Odds < silentOdds {
			w.Low = notLow
		}
	case parts(p.Health) && fellMore > dryFall:
		w.Low = max(w.Low, fellLow)
	}
	if w.Low == cutLow && w.Odds < 0 {
		w.Dry++
	}
}

// fellMore is by how much more a probe has fallen from its highest than the others that
// are well, m3/m3: a zone that dries falls everywhere, and only a container that gets
// no water parts from it. While it may be falling since its last water, where it stood then
// beside the others is kept: a plant that drinks little lowers it over days.
func (f *Fast) fellMore(in *Inputs, i int) float64 {
	high, now, n := 0.0, 0.0, 0.0
	for j := range in.Probes[:in.ProbeCount] {
		if q := &in.Probes[j]; j != i && q.Heard && q.Health.Usable() {
			high += float64(f.Probes.At(j).High)
			now += q.Mean
			n++
		}
	}
	n = math.Max(n, 1)
	w := f.Probes.At(i)
	stood := float64(w.High) - high/n
	switch {
	case w.Odds <= 0:
		w.Stood, w.StoodN = 0, 0
	case w.StoodN == 0 || w.StoodN > stoodLooks:
		w.Stood, w.StoodN = float32(stood), 1
	default:
		w.StoodN++
		stood = math.Max(stood, float64(w.Stood))
	}
	apart := in.Probes[i].Mean - now/n
	return stood - apart
}

// stoodLooks is for how many looks that is kept, two days of them: after that, containers part
// by themselves.
const stoodLooks = 2 * 24 * 12

// cutOff is the probe whose container most likely gets no water, -1 where none is likelier
// to than not. It is one for as long as shots do not say otherwise, not only while it is
// falling.
func (f *Fast) cutOff() int {
	best, odds := -1, float32(0)
	for i := range f.Probes {
		if w := &f.Probes[i]; w.Odds > odds && w.Recent < 0.5*w.Usual {
			best, odds = i, w.Odds
		}
	}
	return best
}

// patience is how long a probe must have been ill before it is said, s. One that is
// called stuck while it still moves is given as long as one that differs.
func patience(h sensing.Health, frozen bool) float32 {
	switch {
	case h == sensing.Drifting:
		return driftIllS
	case h == sensing.Stale:
		return staleS
	case h == sensing.Disagreeing, h == sensing.Stuck && !frozen:
		return longIllS
	}
	return illS
}

// silent tells a probe that has not answered of late: not to most of the newest waterings, or,
// while it has neither been moved nor is ill, hardly to the newest, which may be the only one of
// its day.
func (w *ProbeWatch) silent(p *Probe) bool {
	if p.SteppedMs != 0 && p.AtMs-p.SteppedMs < steppedMs || !p.Health.Usable() && !parts(p.Health) {
		return w.Recent < 0.3*w.Usual
	}
	return w.Recent < 0.3*w.Usual || w.last() < 0.25*w.Usual && w.Recent < 0.75*w.Usual
}

// lastSteps is how finely the newest rise over the others' is kept.
const lastSteps = 25

func (w *ProbeWatch) last() float32 { return float32(w.Last) / lastSteps }

// dryFall is by how much more than the others a container must have fallen that gets no water.
// Dry substrate repels water, so that one whose shots run past drinks what is left like one
// without: there only a deep fall tells.
func (w *ProbeWatch) dryFall() float64 {
	if w.Parched {
		return dryFall
	}
	return math.Min(dryFall, math.Max(leastDryFall, 0.5*float64(w.Drunk)))
}

// lively tells a probe that follows the crop's drinking from one that is stuck.
func (w *ProbeWatch) lively(p *Probe) bool {
	return p.Health != sensing.Stuck && p.Health != sensing.OutOfRange && float64(w.High)-p.Mean > w.dryFall()
}
