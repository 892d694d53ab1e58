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
	High   float32 // its highest level, fading over a day: what fell by day is remembered by night
	Usual  float32 // rise over the others' rise, slow mean
	Var    float32 // variance of that
	Recent float32 // mean of the newest few
	Odds   float32 // log odds that its container gets no water against that it gets its share
	Rounds uint16
	From   float32 // level from which it usually rises, slow mean, m3/m3
	Low    lowness // what its low level is put down to, until it is where the others are again
	Dry    uint16  // looks for which a container that was cut off has had its water again
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

// Round is one watering whose answer is awaited, reported or, where nobody reports, seen.
type Round struct {
	WaterMs int64 // the newest that has had its round, or that is to have none
	Open    bool
	Drunk   float32 // by what a container of the zone falls meanwhile as its plant drinks, m3/m3
}

const (
	roundMs   = 35 * 60 * 1000
	reportMs  = 10 * 60 * 1000 // after its report a watering opens a round
	seenMs    = 40 * 60 * 1000 // likewise after the start of one that is seen
	lowFades  = 0.0005         // m3/m3 a look, by which the lowest level before it is forgotten: noise, and shots that were missed
	leastUp   = 0.006          // rise of the others that asks for an answer, m3/m3
	illS      = 2 * 3600       // of illness before it is said
	staleS    = 1 * 3600       // likewise of silence, which is seen and not inferred
	longIllS  = 18 * 3600      // likewise of a difference, which often mends itself
	driftIllS = 8 * 3600       // of a difference that moves over days
	dryFall   = 0.02           // m3/m3 that such a container has fallen by more than the others, well beyond noise
	// plantSpread is how far one plant's uptake may be from what is usual of the zone, as a
	// share (common practice, no source).
	plantSpread = 0.3
	mostRound   = 2.0 // log likelihood ratio of one shot, at most
	dryOdds     = 4.0 // log odds from which a container is taken to get no water
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
		if p.Health.Usable() {
			w.IllS = max(w.IllS-600, 0)
		} else {
			w.IllS = min(w.IllS+300, 48*3600)
		}
		if !known && p.Health == sensing.Jumping {
			continue // it settles in, or people are still at work
		}
		still := f.Recently.Still.At(i)
		dead := known && still.dead()
		more := f.fellMore(in, i)
		w.lower(p, more, dead)
		e, s := w.weigh(p, more, dead, still.frozen())
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
	case odds >= dryOdds && w.lively(p) && w.Recent < 0.3*w.Usual && fellMore > dryFall:
		return math.Min(1+odds, 5), 0
	case odds > silentOdds && odds+fellOdds(fellMore) >= dryOdds && w.lively(p) && w.Recent < 0.3*w.Usual && fellMore > dryFall:
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
	case float64(w.Odds) >= dryOdds && w.Recent < 0.3*w.Usual && fellMore > dryFall:
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
// no water parts from it.
func (f *Fast) fellMore(in *Inputs, i int) float64 {
	sum, n := 0.0, 0.0
	for j := range in.Probes[:in.ProbeCount] {
		if q := &in.Probes[j]; j != i && q.Heard && q.Health.Usable() {
			sum += float64(f.Probes.At(j).High) - q.Mean
			n++
		}
	}
	return float64(f.Probes.At(i).High) - in.Probes[i].Mean - sum/math.Max(n, 1)
}

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

// lively tells a probe that follows the crop's drinking from one that is stuck.
func (w *ProbeWatch) lively(p *Probe) bool {
	return p.Health != sensing.Stuck && p.Health != sensing.OutOfRange && float64(w.High)-p.Mean > 0.02
}

// rounds opens a round at each watering and closes it once its water has reached the
// probes. Where waterings are reported, those count: what is seen may be one container
// watered by hand.
func (f *Fast) rounds(in *Inputs, atMs int64) {
	if in.ProbeCount > 0 {
		f.Probes.At(in.ProbeCount - 1) // all at once: what is held of one is not to be left behind as another comes up
	}
	r := &f.Round
	drunk := float32(in.Learned.gain() * in.Learned.Limit * in.Learned.Uptake5ML / in.VolumeML)
	if r.Open {
		r.Drunk += drunk
	}
	if r.Open && atMs-r.WaterMs >= roundMs {
		f.closeRound(in, atMs)
		r.Open, r.Drunk = false, 0
		if !in.Water.Reports {
			f.eachBefore(in, func(w *ProbeWatch, level float32) { w.Before = level })
		}
	}
	if !in.Water.Reports {
		f.seenRound(in, atMs)
		return
	}
	if in.Water.LastMs > r.WaterMs && !r.Open && atMs-in.Water.LastMs < reportMs {
		r.WaterMs, r.Open, r.Drunk = in.Water.LastMs, true, 2.5*drunk // from between the two looks of Before
		for i := range in.Probes[:in.ProbeCount] {
			w := f.Probes.At(i)
			if w.Before = f.Recently.mean(i, recentLooks-2, recentLooks-1); w.Before < 0 {
				w.Before = float32(in.Probes[i].Mean)
			}
		}
	}
}

// seenRound opens a round at a watering that is seen, which takes readings of more than one
// probe, up to half an hour with slow ones. Each probe is then held against its lowest level
// since the last round, which is that before the water came, or for one that got none the
// newest.
func (f *Fast) seenRound(in *Inputs, atMs int64) {
	r := &f.Round
	if r.Open {
		return
	}
	f.eachBefore(in, func(w *ProbeWatch, level float32) {
		if w.Before == 0 {
			w.Before = level
		}
		w.Before = min(w.Before+lowFades, level)
	})
	if in.Water.LastShotMs > r.WaterMs && atMs-in.Water.LastShotMs < seenMs {
		r.WaterMs, r.Open, r.Drunk = in.Water.LastShotMs, true, 0
	}
}

// eachBefore hands out the probes with their levels of the newest looks.
func (f *Fast) eachBefore(in *Inputs, take func(w *ProbeWatch, level float32)) {
	for i := range in.Probes[:in.ProbeCount] {
		if level := f.Recently.mean(i, 0, 1); level >= 0 {
			take(f.Probes.At(i), level)
		}
	}
}

// closeRound compares each probe's answer with the others': the water that came, which is
// what it rose by and what its plant drank meanwhile. On a hot day that is as much as a
// small shot, and the ratio of what is left of two rises would tell nothing.
func (f *Fast) closeRound(in *Inputs, atMs int64) {
	for i := range in.Probes[:in.ProbeCount] {
		p, w := &in.Probes[i], f.Probes.At(i)
		if !p.Heard || atMs-p.AtMs > roundMs {
			continue
		}
		sum, n := 0.0, 0.0
		for j := range in.Probes[:in.ProbeCount] {
			q := &in.Probes[j]
			if j != i && q.Heard && q.Health.Usable() && atMs-q.AtMs <= roundMs {
				sum += q.Mean - float64(f.Probes.At(j).Before)
				n++
			}
		}
		noise := math.Max(in.Learned.Noise, 0.0007)
		if n == 0 || sum/n < math.Max(leastUp, 2.5*noise) {
			continue
		}
		drunk := float64(f.Round.Drunk)
		came, others := p.Mean-float64(w.Before)+drunk, sum/n+drunk
		sd := math.Hypot(math.Hypot(noise*math.Sqrt2, float64(f.Recently.Still.At(i).Step)/math.Sqrt(6)), plantSpread*drunk)
		w.answer(math.Min(math.Max(came/others, -0.5), 4), sd/others)
	}
}

// room is the share that counts of a shot to which a probe did not answer: none where
// its container is fuller than shots usually find it, for then it drains; and little
// where it is far drier, for then water does not come down to the probe. A container
// that is cut off falls by that much in a day or two at the earliest.
func (w *ProbeWatch) room() float64 {
	below := float64(w.From - w.Before)
	if below < -0.01 {
		return 0
	}
	return math.Min(math.Max(2-below/0.12, 0.1), 1)
}

// answer takes a probe's rise over the others', of which noise makes sd. A container
// that is cut off does not rise, or by what little still comes.
func (w *ProbeWatch) answer(x, sd float64) {
	if w.Rounds == 0 {
		w.Usual, w.Recent, w.From = float32(x), float32(x), w.Before
	}
	w.Recent += 0.4 * (float32(x) - w.Recent)
	usual := float64(w.Usual)
	e := x - usual
	if w.Rounds >= leastShots && usual > 0.3 {
		spread := math.Sqrt(math.Max(float64(w.Var), sd*sd) + 0.2*0.2)
		none := math.Hypot(0.2, sd)
		r := logT((x-0.1*usual)/none) - math.Log(none) - logT(e/spread) + math.Log(spread)
		r = math.Min(math.Max(r, -mostRound), mostRound*w.room())
		w.Odds = float32(math.Min(math.Max(float64(w.Odds)+r, -1.5), 10))
		if w.Odds > 0 && e < 0 {
			return
		}
		e = math.Min(math.Max(e, -2.5*spread), 2.5*spread)
	}
	w.Rounds = min(w.Rounds+1, 1000)
	k := math.Max(1/float64(w.Rounds), 0.04)
	w.Usual += float32(k * e)
	w.From += float32(k) * (w.Before - w.From)
	w.Var = float32((1 - k) * (float64(w.Var) + k*e*e))
}
