package diagnose

import "math"

// KeptWatch holds the water reported against what is found of it: over a stretch of
// hours between two times at which no water moves,
//
//	kept = (V (w_end - w_begin) + uptake) / given
//
// with the uptake by the zone's own baseline. It is 1 less the drain fraction in a
// healthy zone. A blocked emitter and water that runs along the wall both lower it;
// a valve that leaks raises it.
type KeptWatch struct {
	FromMs   int64 // 0: not begun
	Level    float64
	GivenML  float64 // reported since the zone was first seen, at FromMs
	UptakeML float64
	SawMs    int64
	Mean     float32
	Var      float32
	Last     float32
	Windows  uint16
	Roomy    uint8 // of them, those that had room for more than is usual: Mean is of these
	Drains   Drains
	Drain    Gauge
}

const (
	restMs     = 75 * 60 * 1000 // after a watering, until its water rests
	leastKept  = 4 * hourMs     // of a stretch
	mostKept   = 30 * hourMs
	keptVolume = 0.04 // of the container given in a stretch that is judged
	// mostKeptSays bounds what one stretch says.
	mostKeptSays = 3
)

// look follows the stretch and judges it at its end.
func (k *KeptWatch) look(in *Inputs, atMs int64, base *Baselines, b *Belief, dry bool) {
	rest := atMs-in.Water.LastMs >= restMs && atMs-in.Water.LastShotMs >= restMs && in.Water.ValveOpenMs == 0
	k.UptakeML += likelyUptake(in, atMs, base) * 300
	age := atMs - k.FromMs
	switch {
	case k.FromMs == 0 || age > mostKept:
		if k.FromMs = 0; rest {
			k.begin(in, atMs)
		}
		return
	case !rest || age < leastKept:
		return
	}
	given := in.Water.ReportedML - k.GivenML
	if given < keptVolume*in.VolumeML {
		if given < 1 { // nothing came: begin later
			k.begin(in, atMs)
		}
		return
	}
	kept := (in.VolumeML*(in.WaterContent-k.Level) + k.UptakeML) / given
	sd := math.Hypot(0.12*k.UptakeML/given, 2*in.Learned.Noise*in.VolumeML/given)
	// what finds no room drains from a sound container too: on a dull day a timer
	// gives more than is drunk
	room := (in.VolumeML*math.Max(in.Learned.Capacity-k.Level, 0) + k.UptakeML) / given
	drunk := k.UptakeML / given
	drain := k.Drain
	k.begin(in, atMs)
	k.SawMs = atMs
	kept = math.Min(math.Max(kept, -1), 3)
	if dry {
		// dry substrate repels water, down to the last drop; a valve that closed was told before
		k.acquit(kept-drunk, room, sd, b)
		return
	}
	k.take(kept, room, drunk, sd, given, drain, in, b)
}

func (k *KeptWatch) begin(in *Inputs, atMs int64) {
	k.FromMs, k.Level, k.GivenML, k.UptakeML = atMs, in.WaterContent, in.Water.ReportedML, 0
	k.Drain.begin(in)
}

// take weighs one stretch.
func (k *KeptWatch) take(x, room, drunk, sd, given float64, drain Gauge, in *Inputs, b *Belief) {
	k.Last = float32(x)
	if k.Windows == 0 {
		k.Mean = float32(math.Min(math.Max(in.Learned.Capture, 0.6), 1))
	}
	usual := math.Min(float64(k.Mean), 1) // more than all of it is not found by fault of a probe's place
	e := x - math.Min(usual, room)
	if k.Windows >= 4 && in.Water.Reports {
		doubt := 0.08
		if k.Roomy < 4 {
			doubt = captureDoubt // how much it keeps if it has room was never seen
		}
		spread := math.Sqrt(float64(k.Var) + doubt*doubt + sd*sd)
		r := weights{e: e, spread: spread}
		usual = math.Max(usual, 0.3)
		// of what does not come or runs past, what would have found no room is not missed
		short := func(c Cause, of, wide float64) {
			r.say(c, math.Min((1-of)*usual, room)-math.Min(usual, room), wide)
		}
		short(ValveStuckClosed, 1, math.Hypot(0.05, dryDrinks*drunk))
		for _, c := range [...]Cause{EmitterFault, EdgeChannelling, RootBound} {
			short(c, shortShare, shortSpread*usual)
		}
		if room > usual+0.4 {
			r.say(ValveStuckOpen, 0.8, 0.5) // what a full container is given beside cannot be found in it
		}
		drain.tell(&r, k.Drains, given, in)
		if k.Roomy < 4 && b.LogOdds[Oversaturation] > 0 {
			r.against() // where water stood, what was taken for its capacity is none, and what drains is that water
		}
		r.tell(b, 1, mostKeptSays)
		if b.moving() > frozenAt {
			return
		}
		e = math.Min(math.Max(e, -clip*spread), clip*spread)
	}
	drain.learn(&k.Drains, given, in)
	k.Windows = min(k.Windows+1, 1000)
	w := math.Max(1/float64(k.Windows), 0.05)
	if room >= 1.1*usual { // else it was the room that kept it so
		k.Roomy = min(k.Roomy+1, 250)
		w := math.Max(1/float64(k.Roomy+1), 0.05)
		k.Mean += float32(w * e)
	}
	k.Var = float32((1 - w) * (float64(k.Var) + w*e*e))
}

// acquit takes a stretch that began in dry substrate: what is stored at its end has come, and
// stays. What its crop drank is not known, and what is missing accuses nothing.
func (k *KeptWatch) acquit(stored, room, sd float64, b *Belief) {
	usual := math.Max(math.Min(math.Min(float64(k.Mean), 1), room), 0.3)
	if k.Windows < 4 || stored <= 0.2*usual+2*sd {
		return
	}
	k.Last = float32(stored)
	r := weights{e: stored - usual, spread: math.Sqrt(float64(k.Var) + 0.08*0.08 + sd*sd)}
	r.short(usual)
	r.say(ValveStuckClosed, -usual, 0.05)
	r.against()
	r.tell(b, 1, mostKeptSays)
}

// weights gathers what one observation says of the causes: it is e off its usual
// value, where spread is usual.
type weights struct {
	e, spread float64
	r         [causeCount]float64
}

// leastSays bounds what one observation says against a cause.
const leastSays = -1.5

// say takes what a cause predicts: a shift, and how much that differs from case to
// case. A cause that is not asked says nothing either way.
func (w *weights) say(c Cause, shift, wide float64) {
	w.r[c] = math.Max(shifted(w.e, w.spread, shift, wide), leastSays)
}

// against keeps what speaks against causes only.
func (w *weights) against() {
	for c := range w.r {
		w.r[c] = math.Min(w.r[c], 0)
	}
}

// tell adds the share of it that counts, at most most for the best cause.
func (w *weights) tell(b *Belief, share, most float64) {
	limit(&w.r, most)
	for c := range w.r {
		w.r[c] *= share
	}
	b.addAll(&w.r)
}
