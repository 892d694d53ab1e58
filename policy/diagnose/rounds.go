package diagnose

import "math"

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
	mostRound = 2.5            // log likelihood ratio of one shot, at most
	// plantSpread is how far one plant's uptake may be from what is usual of the zone, as a
	// share (common practice, no source).
	plantSpread = 0.3
)

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
		sum, below, n := 0.0, 0.0, 0.0
		for j := range in.Probes[:in.ProbeCount] {
			q, v := &in.Probes[j], f.Probes.At(j)
			if j != i && q.Heard && q.Health.Usable() && atMs-q.AtMs <= roundMs {
				sum += q.Mean - float64(v.Before)
				below += float64(v.From - v.Before)
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
		w.answer(math.Min(math.Max(came/others, -0.5), 4), sd/others, below/n)
	}
}

// room is the share that counts of a shot to which a probe did not answer: none where
// its container is fuller than shots usually find it, for then it drains; and little
// where it is far drier, for then water does not come down to the probe. A container
// that is cut off falls by that much in a day or two at the earliest. Where the others have
// fallen as well, by othersBelow, m3/m3, and by more than containers of a sound zone part, the whole
// zone is drier than shots usually find it: a small one then stays in the top, above a probe that
// lies low, all day long.
func (w *ProbeWatch) room(othersBelow float64) float64 {
	below := float64(w.From - w.Before)
	if below < -0.01 {
		return 0
	}
	return math.Min(math.Max(math.Min(2-below/0.12, 2-math.Min(below, othersBelow)/soundFall), 0.1), 1)
}

// answer takes a probe's rise over the others', of which noise makes sd. A container
// that is cut off does not rise, or by what little still comes.
func (w *ProbeWatch) answer(x, sd, othersBelow float64) {
	if w.Rounds == 0 {
		w.Usual, w.Recent, w.From = float32(x), float32(x), w.Before
	}
	if w.Last = int8(math.Round(lastSteps * x)); w.last() > 0.5*w.Usual {
		w.Drunk = 0
	}
	w.Recent += 0.4 * (float32(x) - w.Recent)
	usual := float64(w.Usual)
	e := x - usual
	if w.Rounds >= leastShots && usual > 0.3 {
		spread := math.Sqrt(math.Max(float64(w.Var), sd*sd) + 0.2*0.2)
		none := math.Hypot(0.2, sd)
		r := logT((x-0.1*usual)/none) - math.Log(none) - logT(e/spread) + math.Log(spread)
		r = math.Min(math.Max(r, -mostRound), mostRound*w.room(othersBelow))
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
