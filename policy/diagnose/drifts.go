package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// A probe that drifts parts from the others of its zone, and so do containers: by what
// their plants drink and their emitters give, some hundredths within days. But containers
// part while water moves. By night, hours after the last shot, a zone's probes part about as
// they did in the nights before, and a drift goes on as by day. So two things are asked of
// each probe: by how much more than usual it parted from the others in the nights of the last
// day and a half, and by how much in two days of all hours. Both are told in standard
// deviations of what this zone's probes do by themselves, and their harmonic mean counts: a
// container that gets less water parts by day only, one in which the night's uptake changed
// goes back by day, and a step is over by night.

// On 318 simulated zones of one to three probes, each played for 22 days with and without a
// probe that drifts by 0.01 to 0.02 m3/m3 a day, sound ones are told once in 900 zone-days, and
// of the drifts 57 in 100 (of zones with two probes and more 65) within a day of when they stand
// out of the zone's own days by three standard deviations, 70 (79) within three; on 304 other
// zones, among all other faults, once in 670 and 8 of 16. Nights alone, or levels alone, tell
// half as many at the same rate of alarms. What can be had at all is not much more: trees grown
// on these two, on rises and falls, salt, drain and the probe's own past (by gradient boosting,
// held against zones they had not seen) tell 71 at one alarm in 500 zone-days. The others part
// by no more than sound ones do, or are alone in their zone.

// DriftWatch is how one probe parts from the others of its zone over days. Levels are of the
// whole container by this probe, in multiples of levelStep; slopes are m3/m3 a day.
type DriftWatch struct {
	Means  [daySlots]uint16 // of the newest slots, 0: not known
	Levels [lagSlots]uint16 // of the day that ended with each of the newest slots, likewise
	Moves  [lagSlots]int16  // by how much it had parted then in two days, 0: not known
	Sum    float32          // of the slot's looks, m3/m3
	Looks  uint16
	MoveN  uint16
	Move   float32 // mean square of older Moves, in levelStep squared
	Line   line    // its level since the zone came to rest
	Nights [nightsKept]float32
	Apart  nightly // by how much it parts from the others in a night
	Others nightly // by how much the others rise in a night
	// By how far out of the usual it parts now, in standard deviations, its sign being the
	// way, and by how much it does and did at the slot before.
	Score, Held float32
	ByNight     float32 // by how much more than usual it parts in a night, m3/m3 a day
	OthersMove  int16   // by how much the others went in two days, in levelStep
}

// Drifts are the watches of a zone.
type Drifts struct {
	Probes  sensing.Each[DriftWatch]
	LookMs  int64
	SlotMs  int64 // when the newest slot began
	RestMs  int64 // since when the zone is at rest, 0: it is not
	EndsMs  [nightsKept]int64
	Hours   [nightsKept]float32
	SinceMs int64 // since when one drifts, 0: none does
	Worst   uint8 // 1 + that probe
}

const (
	slotMs    = 3 * hourMs
	daySlots  = 8
	leastDay  = 6  // slots known of a day
	lagSlots  = 16 // two days
	levelStep = 0.00002
	noSlope   = 99
	// settleMs is how long after water its containers are left to come to rest, leastNight
	// what is left of a night then at least and longNight what is looked at of it, h.
	settleMs   = 4 * hourMs
	leastNight = 4.0
	longNight  = 12.0
	// newNightMs is how old nights are that tell of a drift, and oldNightMs from when on
	// they tell what is usual: a drift of two days must not be its own yardstick.
	newNightMs = 36 * hourMs
	oldNightMs = 48 * hourMs
	nightsKept = 4
	// leastUsual nights and leastMoves slots make something usual.
	leastUsual, leastMoves = 4, 24
	// slowMove is the weight of a slot's move in what is usual: about ten days.
	slowMove = 1.0 / 80
	// nightErr is what a night's slope errs by, m3/m3 a day, and moveErr what the difference
	// of two days does, m3/m3: resolution and noise of the probes (common practice, no source).
	nightErr, moveErr = 0.003, 0.003
	// driftAt is what tells a drift, and driftEnds what it stands by.
	driftAt, driftEnds = 2.2, 1.7
	// driftsOdds are the log odds of a drift at driftAt, driftsGain by how much each more
	// standard deviation raises them, and getsIts those of a container that gets its water
	// against one that gets none (common practice, no source).
	driftsOdds, driftsGain, getsIts = 0.7, 2, -1.5
	// longDriftMs is when what parts is no news any more, and learned anew.
	longDriftMs = 6 * dayMs
	// plantsApart is the share of what the others did more than usual by which a sound
	// container may part from them (common practice, no source).
	plantsApart = 0.3
)

// line is a straight line through looks: hours from the first, level from the first.
type line struct{ N, T, TT, Y, TY, First float32 }

func (l *line) add(hours, level float64) {
	if l.N == 0 {
		l.First = float32(level)
	}
	t, y := float32(hours), float32(level)-l.First
	l.N, l.T, l.TT, l.Y, l.TY = l.N+1, l.T+t, l.TT+t*t, l.Y+y, l.TY+t*y
}

// slope is by how much it rises in a day, noSlope for too few looks.
func (l *line) slope() float32 {
	d := float64(l.N)*float64(l.TT) - float64(l.T)*float64(l.T)
	if l.N < 6 || d <= 0 {
		return noSlope
	}
	return float32(24 * (float64(l.N)*float64(l.TY) - float64(l.T)*float64(l.Y)) / d)
}

// nightly is the mean and the variance of what is seen once a night.
type nightly struct {
	Mean, Var float32
	N         uint16
}

func (u *nightly) learn(x float64) {
	u.N = min(u.N+1, 100)
	w := math.Max(1/float64(u.N), 0.1)
	e := x - float64(u.Mean)
	u.Mean += float32(w * e)
	u.Var = float32((1 - w) * (float64(u.Var) + w*e*e))
}

// look takes the probes as they are.
func (d *Drifts) look(in *Inputs, atMs int64) {
	if in.ProbeCount < 2 {
		return // nothing to part from
	}
	d.Probes.At(in.ProbeCount - 1)
	if atMs-d.LookMs > hourMs {
		d.RestMs = 0 // nobody knows what came meanwhile
	}
	d.LookMs = atMs
	w := &in.Water
	calm := atMs-w.LastMs >= settleMs && atMs-w.LastShotMs >= settleMs && w.ValveOpenMs == 0
	switch {
	case calm && d.RestMs == 0:
		d.RestMs = atMs
		for i := range d.Probes {
			d.Probes[i].Line = line{}
		}
	case !calm && d.RestMs != 0:
		d.endNight(atMs)
		d.RestMs = 0
	}
	if d.SlotMs != 0 && atMs-d.SlotMs >= slotMs {
		d.closeSlots(atMs)
	}
	d.SlotMs = atMs - atMs%slotMs
	hours := float64(atMs-d.RestMs) / float64(hourMs)
	for i := range in.Probes[:in.ProbeCount] {
		p, w := &in.Probes[i], &d.Probes[i]
		if !p.Heard || atMs-p.AtMs >= freshMs || !p.Health.Usable() && !parts(p.Health) {
			continue
		}
		w.Sum += float32(p.Mean)
		w.Looks++
		if d.RestMs != 0 && hours <= longNight {
			w.Line.add(hours, p.Mean)
		}
	}
}

// endNight keeps the slopes of the night that ends, if it was long enough.
func (d *Drifts) endNight(atMs int64) {
	hours := math.Min(float64(atMs-d.RestMs)/float64(hourMs), longNight)
	if hours < leastNight {
		return
	}
	d.learnNight(nightsKept - 1)
	copy(d.EndsMs[1:], d.EndsMs[:])
	copy(d.Hours[1:], d.Hours[:])
	d.EndsMs[0], d.Hours[0] = atMs, float32(hours)
	for i := range d.Probes {
		w := &d.Probes[i]
		copy(w.Nights[1:], w.Nights[:])
		w.Nights[0] = w.Line.slope()
	}
}

// learnNight takes a night into what is usual, and forgets it.
func (d *Drifts) learnNight(k int) {
	if d.EndsMs[k] == 0 {
		return
	}
	d.EndsMs[k] = 0
	if d.SinceMs != 0 {
		return
	}
	for i := range d.Probes {
		if own, others, ok := d.slopes(i, k); ok {
			d.Probes[i].Apart.learn(own - others)
			d.Probes[i].Others.learn(others)
		}
	}
}

// slopes are those of a probe and, as their mean, of the others in a kept night, or for -1
// in the one that is on.
func (d *Drifts) slopes(probe, night int) (own, others float64, ok bool) {
	n := 0.0
	for i := range d.Probes {
		w := &d.Probes[i]
		x := w.Line.slope()
		if night >= 0 {
			x = w.Nights[night]
		}
		switch {
		case x == noSlope:
		case i == probe:
			own, ok = float64(x), true
		default:
			others += float64(x)
			n++
		}
	}
	return own, others / math.Max(n, 1), ok && n > 0
}

// closeSlots ends the newest slot, and those in which nobody looked.
func (d *Drifts) closeSlots(atMs int64) {
	for k := range nightsKept {
		if d.EndsMs[k] != 0 && atMs-d.EndsMs[k] > oldNightMs {
			d.learnNight(k)
		}
	}
	for n := min((atMs-d.SlotMs)/slotMs, daySlots+lagSlots); n > 0; n-- {
		d.closeSlot()
	}
	d.judge(atMs)
}

func (d *Drifts) closeSlot() {
	var before [sensing.MaxProbes]uint16
	for i := range d.Probes {
		w := &d.Probes[i]
		copy(w.Means[1:], w.Means[:])
		w.Means[0] = 0
		if w.Looks > 0 {
			w.Means[0] = uint16(math.Round(max(float64(w.Sum)/float64(w.Looks), levelStep) / levelStep))
		}
		w.Sum, w.Looks = 0, 0
		before[i] = w.Levels[lagSlots-1]
		copy(w.Levels[1:], w.Levels[:])
		w.Levels[0] = w.day()
	}
	for i := range d.Probes {
		w := &d.Probes[i]
		if old := float32(w.Moves[lagSlots-1]); old != 0 && d.SinceMs == 0 {
			w.MoveN = min(w.MoveN+1, 1000)
			w.Move += max(1/float32(w.MoveN), slowMove) * (old*old - w.Move)
		}
		copy(w.Moves[1:], w.Moves[:])
		w.Moves[0] = 0
		w.OthersMove = 0
		if own, others, ok := d.moved(i, &before); ok {
			w.Moves[0], w.OthersMove = notZero(own-others), int16(others)
		}
	}
}

// notZero keeps 0 for what is not known.
func notZero(x float64) int16 {
	x = math.Round(math.Min(math.Max(x, -math.MaxInt16), math.MaxInt16))
	if x == 0 {
		return 1
	}
	return int16(x)
}

// day is the level of the day that ends: between its mean, to which all hours speak, and its
// highest slot, at which a container that drains comes back to what it holds.
func (w *DriftWatch) day() uint16 {
	sum, n, high := 0.0, 0.0, 0.0
	for _, x := range w.Means {
		if x > 0 {
			sum, n, high = sum+float64(x), n+1, math.Max(high, float64(x))
		}
	}
	if n < leastDay {
		return 0
	}
	return uint16(math.Round((sum/n + high) / 2))
}

// moved is by how much a probe and, in the mean, the others went in two days.
func (d *Drifts) moved(probe int, before *[sensing.MaxProbes]uint16) (own, others float64, ok bool) {
	n := 0.0
	for i := range d.Probes {
		now, then := d.Probes[i].Levels[0], before[i]
		switch {
		case now == 0 || then == 0:
		case i == probe:
			own, ok = float64(now)-float64(then), true
		default:
			others += float64(now) - float64(then)
			n++
		}
	}
	return own, others / math.Max(n, 1), ok && n > 0
}

// judge holds every probe against what is usual.
func (d *Drifts) judge(atMs int64) {
	best := -1
	for i := range d.Probes {
		w := &d.Probes[i]
		before := w.Score
		w.Score, w.ByNight = 0, 0
		night, byNight, ok := d.night(i, atMs)
		if day, known := w.days(); ok && known && day*night > 0 {
			x, y := math.Abs(day), math.Abs(night)
			w.Score, w.ByNight = float32(math.Copysign(2*x*y/(x+y), day)), float32(byNight)
		}
		if w.Held = 0; before*w.Score > 0 {
			w.Held = float32(math.Min(math.Abs(float64(before)), math.Abs(float64(w.Score))))
		}
		if best < 0 || w.Held > 1.05*d.Probes[best].Held || w.Held > 0.95*d.Probes[best].Held && d.wentFurther(i, best) {
			best = i
		}
	}
	w := &d.Probes[best]
	switch {
	case w.Held < driftEnds || w.Held < driftAt && d.SinceMs == 0:
		d.SinceMs, d.Worst = 0, 0
		return
	case d.SinceMs == 0:
		d.SinceMs = atMs
	case atMs-d.SinceMs > longDriftMs:
		*d = Drifts{Probes: d.Probes, LookMs: d.LookMs, SlotMs: d.SlotMs}
		clear(d.Probes)
		return
	}
	d.Worst = uint8(best + 1)
}

// wentFurther tells of two probes that part from each other the one that left its own level
// by more in two days.
func (d *Drifts) wentFurther(a, b int) bool {
	own := func(i int) float64 { return math.Abs(float64(d.Probes[i].Moves[0]) + float64(d.Probes[i].OthersMove)) }
	return own(a) > own(b)
}

// days is by how much a probe parted from the others in two days, in standard deviations.
func (w *DriftWatch) days() (float64, bool) {
	if w.Moves[0] == 0 || w.MoveN < leastMoves {
		return 0, false
	}
	sd := math.Hypot(math.Sqrt(float64(w.Move))*levelStep, moveErr)
	return float64(w.Moves[0]) * levelStep / math.Hypot(sd, plantsApart*float64(w.OthersMove)*levelStep), true
}

// night is by how much more than usual a probe parted from the others in the newest nights,
// in standard deviations and m3/m3 a day.
func (d *Drifts) night(probe int, atMs int64) (z, more float64, ok bool) {
	w := &d.Probes[probe]
	if w.Apart.N < leastUsual {
		return 0, 0, false
	}
	sum, others, hours := 0.0, 0.0, 0.0
	take := func(night int, h float64) {
		if x, y, ok := d.slopes(probe, night); ok {
			sum, others, hours = sum+h*(x-y), others+h*y, hours+h
		}
	}
	for k := range nightsKept {
		if d.EndsMs[k] != 0 && atMs-d.EndsMs[k] < newNightMs {
			take(k, float64(d.Hours[k]))
		}
	}
	if h := float64(atMs-d.RestMs) / float64(hourMs); d.RestMs != 0 && h >= leastNight {
		take(-1, math.Min(h, longNight))
	}
	if hours == 0 {
		return 0, 0, false
	}
	more = sum/hours - float64(w.Apart.Mean)
	few := 1 + 2/float64(w.Apart.N)
	sd := math.Hypot(math.Sqrt(float64(w.Apart.Var)*few), nightErr)
	return more / math.Hypot(sd, plantsApart*(others/hours-float64(w.Others.Mean))), more, true
}

// driftingOdds gives the log odds of an emitter and of a sensor fault where a probe parts from
// the others as drifts do, 0 for none that does. Of the two it is the one that has come to
// read less whose container may get less water, and what shots told of it counts: one that is
// dry after its emitter was mended goes its own way for days, and one that was moved lies
// elsewhere at once.
func (f *Fast) driftingOdds(in *Inputs, atMs int64) (emitter, sensor float64) {
	k := int(f.Drifts.Worst) - 1
	if k < 0 || k >= in.ProbeCount {
		return 0, 0
	}
	for i := range in.Probes[:in.ProbeCount] {
		if p := &in.Probes[i]; p.SteppedMs != 0 && atMs-p.SteppedMs < steppedMs || f.Probes.At(i).Low == cutLow {
			return 0, 0
		}
	}
	dry := 0.0
	switch w := &f.Drifts.Probes[k]; {
	case w.Score < 0:
		dry = float64(f.Probes.At(k).Odds)
	case in.ProbeCount == 2:
		dry = float64(f.Probes.At(1 - k).Odds)
	default:
		dry = getsIts // the others do not all get less
	}
	return split(math.Min(driftsOdds+driftsGain*(float64(f.Drifts.Probes[k].Held)-driftAt), 4), dry)
}
