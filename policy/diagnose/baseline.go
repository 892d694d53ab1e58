package diagnose

import (
	"math"
	"math/bits"
)

// Baseline is the slow course of one feature of a zone: its mean, its trend where
// crops have one, and its spread from day to day.
type Baseline struct {
	Mean, Trend, Var float32
	Days             uint16
	Now              float32 // newest value
	Off              float32 // its distance in standard deviations
	NowS             uint32  // when that was, Unix seconds, 0: never
}

// Baselines are those of all features.
type Baselines struct {
	Of     [featureCount]Baseline
	Frozen uint16  // days on which trouble kept them as they were
	Full   float32 // share of the days that made them on which the container was full
	Salts  Salts
}

const (
	// leastDays of a feature make a baseline to hold a day against.
	leastDays = 5
	// clip is the most that a day may be off, in standard deviations, as it is learned.
	clip = 1.2
	// clipSalt is that of salt, which rises and falls in sound containers by itself, for
	// days on end: at 1.2 the mean lags behind and the spread that is learned is 0.6 of
	// the variance of normal days, at 2 it is 0.9.
	clipSalt = 2
	// slow is the weight of a new day, about 12 days; brisk that of features that
	// grow with the crop, which also have a trend.
	slow, brisk, trendWeight = 0.08, 0.3, 0.1
	// frozenAt is the trouble from which a baseline is kept, and frozenDays how
	// long: after that the new state is learned as the zone's own, so that a trouble
	// that nobody minded is not told for ever.
	frozenAt, frozenDays = 0.4, 14
	// tempered is the share of a day's log likelihood ratios that counts:
	// features of one day and days of one spell are not independent (power prior,
	// Ibrahim & Chen 2000; the size is ours).
	tempered = 0.9
	// mostParched bounds what shots say that lift a dry zone less: they run past what
	// repels water. A blocked emitter has said so before the zone was dry, and this keeps
	// it from being forgotten at once.
	mostParched = 0.4
	// mostAside bounds what salt says of causes that only bring it about: it bears them
	// out, and does not accuse them by itself.
	mostAside = 0.3
	// mostFeature and mostDay bound what one feature and one day may say.
	mostFeature, mostDay = 5, 5
)

// The kinds of feature. Those of one kind move together, whatever moves them.
const (
	drinking = iota
	level
	lift
	draining
	warmth
	saltiness
	apart
)

var kindOf = [featureCount]uint8{
	UptakeDay: drinking, UptakeNight: drinking, Droop: drinking, Rise: lift, Plateau: level, Peak: level, Rest: level, Over: level, WetHours: level,
	DrainTime: draining, Drained: draining, Account: draining, RootCel: warmth, PoreEC: saltiness, Salt: saltiness, SaltRise: saltiness, Scatter: apart,
}

const (
	// speaks is the log likelihood ratio from which a feature speaks for a cause: twice
	// as likely with it as without.
	speaks = 0.7
	// aloneOdds is as far as the log odds of what grows over days go by one kind of
	// feature on one day: a third, well below an alarm. Two kinds must agree, or the same
	// speak two days in a row; what is one day's alone is as often weather or a probe.
	aloneOdds = -0.7
)

// voices are the features of a day that speak for a cause.
type voices struct {
	kinds uint8
	again bool // one of them was as far off its baseline on the day before
}

// alone tells a voice that no other kind and no day before agrees with.
func (v voices) alone() bool { return bits.OnesCount8(v.kinds) == 1 && !v.again }

// grows tells causes that come over days and do not go by the next.
func (c Cause) grows() bool {
	switch c {
	case RootBound, Compaction, Oversaturation, EdgeChannelling, RootZoneHeat, SaltBuildUp:
		return true
	}
	return false
}

// holdsMore tells causes by which a container comes to hold more water than it did.
func (c Cause) holdsMore() bool { return c == Compaction || c == Oversaturation }

// grows tells the features that follow the crop or build up by themselves.
func (k Feature) grows() bool { return k == UptakeDay || k == UptakeNight || k == PoreEC || k == Salt }

// usuallyFull is the share of days from which a container counts as full as a rule (common
// practice, no source): then it has come to hold more when it stands higher, whatever
// its probes and the physics make of what it can hold.
const usuallyFull = 0.5

// learnFull counts a day on which the container was full, or was not.
func (bs *Baselines) learnFull(f *Features) {
	full := 0.0
	if f.full() || f.AtCapacity {
		full = 1
	}
	w := math.Max(slow, 1/float64(bs.Of[Peak].Days+1))
	bs.Full += float32(w * (full - float64(bs.Full)))
}

// youngDays are the days of a zone on which nothing is said but of its probes.
const youngDays = 4

func (bs *Baselines) young() bool { return bs.Of[Peak].Days < youngDays }

// full tells a day on which water drained, so that the container was as full as it
// gets. Water also drains from substrate so dry that it repels water, and past one whose
// shots lift less than usual, and then what it could hold is not seen.
func (f *Features) full() bool {
	if f.Dry || f.open() {
		return false
	}
	return f.filled() || f.Known[Plateau] || f.Known[Drained] && f.Value[Drained] > 0.05 && !f.LiftsLess
}

// asked is how high the plans of the day aimed to bring a level, m3/m3; 0 for none.
func (f *Features) asked(k Feature) float64 {
	switch k {
	case Peak:
		return f.AskedPeak
	case Rest, Plateau:
		return f.Asked
	}
	return 0
}

// over is what a level says for a cause by which a container holds more, of one that was not
// full before: no more than by what it lies above what the container holds by the physics,
// which its probes know to fills.
func (f *Features) over(c Cause, k Feature, spread float64) float64 {
	if k == WetHours {
		if float64(f.Value[Rest]) > f.Holds+fills {
			return mostFeature
		}
		return 0
	}
	return math.Max(ratioOf(c, k, math.Max(float64(f.Value[k])-f.Holds, 0), math.Hypot(spread, fills)), 0)
}

// older reports whether the newest value is older than ms, or there is none.
func (b *Baseline) older(atMs, ms int64) bool { return b.NowS == 0 || atMs-int64(b.NowS)*1000 > ms }

// expect is where the next day is expected and its spread.
func (b *Baseline) expect(k Feature, sd float64) (mean, spread float64) {
	mean = float64(b.Mean + b.Trend)
	few := 1 + 2/float64(max(b.Days, 1))
	return mean, math.Sqrt(float64(b.Var)*few + floors[k]*floors[k] + sd*sd)
}

// sdFrom is the standard deviation that a feature's measurement has where it is expected
// at mean. The rate of a fall is told by its logarithm, and that of one that is next to
// nothing is all noise: what the noise is to the fall that was expected tells whether
// it is missing.
func (f *Features) sdFrom(k Feature, mean float64) float64 {
	sd, below := float64(f.SD[k]), float64(f.Value[k])-mean
	if (k == UptakeDay || k == UptakeNight) && below < 0 {
		sd *= math.Exp(below)
	}
	return sd
}

// learn takes a day into the baseline; far ones count as at most so many standard
// deviations off (Huber 1964), so that a change of days is not learned before it is
// told.
func (b *Baseline) learn(k Feature, v, sd, weight, most float64) {
	if b.Days == 0 {
		b.Mean, b.Days = float32(v), 1
		return
	}
	mean, spread := b.expect(k, sd)
	e := v - mean
	if b.Days >= leastDays {
		e = math.Min(math.Max(e, -most*spread), most*spread)
	}
	w := math.Max(weight, 1/float64(b.Days+1))
	b.Mean = float32(mean + w*e)
	if k.grows() && b.Days >= 2 {
		t := float64(b.Trend) + trendWeight*w*e
		b.Trend = float32(math.Min(math.Max(t, -0.08), 0.08)) // by 8 % a day at most
	}
	vw := math.Max(slow, 1/float64(b.Days+1))
	b.Var = float32((1 - vw) * (float64(b.Var) + vw*e*e))
	b.Days = min(b.Days+1, 1000)
}

// weigh holds a finished day against the baselines: first what it says of the
// causes, then, while nothing is wrong, what it teaches.
func (bs *Baselines) weigh(f *Features, belief *Belief, atMs int64) {
	if f.Hours < leastHours {
		return
	}
	bs.Salts.day(f)
	var sum [causeCount]float64
	var heard [causeCount]voices
	for k := Feature(0); k < featureCount; k++ {
		b := &bs.Of[k]
		if !f.Known[k] {
			continue
		}
		before := b.Off
		if b.older(atMs, 3*dayMs/2) {
			before = 0
		}
		b.Now, b.NowS = f.Value[k], uint32(atMs/1000)
		b.Off = 0
		if b.Days < leastDays && k != SaltRise || k == Salt && f.Known[PoreEC] && bs.Of[PoreEC].Days >= leastDays {
			continue // of pore EC and its stand-in only one speaks
		}
		mean, spread := b.expect(k, f.sdFrom(k, float64(b.Mean+b.Trend)))
		if k == SaltRise {
			mean, spread = usualSaltRise, usualSaltSpread
		}
		x := float64(f.Value[k]) - mean
		b.Off = float32(x / spread)
		if (k == Peak || k == Rest || k == Plateau) && x < 0 && !f.full() {
			continue // it was not given what would fill it
		}
		if k == Over && !f.full() {
			continue // nothing stands over what a container holds that was not filled
		}
		var r [causeCount]float64
		filling := kindOf[k] == level && k != Over && bs.Full < usuallyFull
		for c := range r {
			r[c] = ratioOf(Cause(c), k, x, spread)
			if Cause(c).holdsMore() && kindOf[k] == level && x > 0 && f.Lifted > 0 {
				// a container holds more only as far as the water that was reported shows it
				r[c] = math.Max(ratioOf(Cause(c), k, math.Max(x-f.lifted(k), 0), spread), 0)
			}
			if asked := f.asked(k); Cause(c).holdsMore() && asked > mean && x > 0 {
				// a plan that people approved brought it there
				r[c] = math.Min(r[c], math.Max(ratioOf(Cause(c), k, math.Max(float64(f.Value[k])-asked, 0), spread), 0))
			}
			if Cause(c).holdsMore() && filling {
				r[c] = math.Min(r[c], f.over(Cause(c), k, spread)) // it was not full before, and is filled
			}
			if Cause(c) == ValveStuckOpen && kindOf[k] == drinking && (f.Low && !f.full() || f.EndsLow) {
				r[c] = math.Min(r[c], 0) // what an open valve feeds fills up
			}
			if kindOf[k] == saltiness && Cause(c) != SaltBuildUp {
				r[c] = math.Min(r[c], mostAside)
			}
			if k == Rise && f.Parched {
				r[c] = math.Min(r[c], mostParched)
			}
		}
		if k == Drained && f.Spills {
			r[EdgeChannelling] = math.Min(r[EdgeChannelling], 0) // a gap takes a share of what is given
		} else if k == Drained && f.LiftsLess {
			// what roots do not let stay runs out as what runs along the wall does
			r[RootBound] = math.Min(r[RootBound], r[EdgeChannelling])
		}
		limit(&r, mostFeature)
		for c := range sum {
			sum[c] += tempered * r[c]
			if r[c] >= speaks {
				heard[c].kinds |= 1 << kindOf[k]
				heard[c].again = heard[c].again || float64(before)*x > 0 && math.Abs(float64(before)) > 1
			}
		}
	}
	limit(&sum, mostDay)
	f.ceiling(&sum)
	last := belief.LogOdds
	for c := range sum {
		if Cause(c).sudden() && last[c] > fresh {
			sum[c] = math.Max(sum[c], sum[c]*freshShare) // most of the day was before
		}
	}
	belief.addAll(&sum)
	for c := range heard {
		if Cause(c).grows() && heard[c].alone() {
			belief.lower(Cause(c), math.Max(aloneOdds, float64(last[c])+priors[c].logOdds))
		}
	}
	if bs.young() {
		belief.young()
	} else if f.StandsWet && f.Lifted < standsLevel {
		belief.toward(Oversaturation, wetLevel, wetStep)
	}
	if f.Fed || f.Known[SaltRise] && f.Value[SaltRise] < leastSaltRise {
		belief.lower(SaltBuildUp, aloneOdds)
	}
	if bs.lessByDay(atMs) && !f.full() {
		belief.lower(ValveStuckOpen, aloneOdds)
	}
	belief.settle(atMs)
	weight, salty := 1.0, belief.trouble() > frozenAt
	if belief.moving() > frozenAt {
		bs.Frozen = min(bs.Frozen+1, 1000)
		weight = 0
		if bs.Frozen > frozenDays {
			weight = 1
		}
	} else if bs.Frozen > 0 {
		bs.Frozen--
	}
	if weight > 0 || bs.young() {
		bs.learnFull(f)
	}
	for k := Feature(0); k < featureCount; k++ {
		frozen := weight == 0 || salty && kindOf[k] == saltiness
		if !f.Known[k] || frozen && bs.Of[k].Days >= leastDays {
			continue
		}
		w := weight * slow
		if k.grows() {
			w = brisk
		}
		most := clip
		if kindOf[k] == saltiness {
			most = clipSalt
		}
		if bs.Frozen > frozenDays {
			most = 10
		}
		b := &bs.Of[k]
		b.learn(k, float64(f.Value[k]), f.sdFrom(k, float64(b.Mean+b.Trend)), w, most)
	}
}

// lessByDay tells a newest day by which uptake lost as large a share by day as by night, or
// a larger. What leaks into a container that does not drain comes at all hours alike, and
// hides the whole of the little that is drunk by night before it hides a part of the day's: a
// loss in proportion is a crop that drinks less, or a container that holds more than is
// believed.
func (bs *Baselines) lessByDay(atMs int64) bool {
	day, night := &bs.Of[UptakeDay], &bs.Of[UptakeNight]
	for _, b := range [...]*Baseline{day, night} {
		if b.Days < leastDays || b.older(atMs, 3*dayMs/2) {
			return false
		}
	}
	lost := func(b *Baseline) float64 { return float64(b.Mean+b.Trend) - float64(b.Now) }
	return lost(day) > leastLost && lost(day) >= lost(night)
}

// leastLost is a loss of uptake that is plain, in its logarithm: a third and more (common
// practice, no source).
const leastLost = 0.4

// lifted is what water that nobody reported makes of a feature of the level.
func (f *Features) lifted(k Feature) float64 {
	if k == WetHours && f.Lifted >= standsLevel {
		return 24
	}
	return f.Lifted
}

// sudden tells causes that begin from one minute to the next.
func (c Cause) sudden() bool { return c == ValveStuckOpen || c == ValveStuckClosed }

const (
	// fresh is the log odds over the prior from which a sudden cause may have begun in the
	// day that ends; freshShare of what such a day says against it counts (common practice,
	// no source).
	fresh, freshShare = 0.7, 0.4
)

// ratioOf is the log likelihood ratio of cause c against nothing, of a feature
// that is x off its baseline where spread is usual: a mixture of the shift that the
// cause predicts and of its not showing in this zone.
func ratioOf(c Cause, k Feature, x, spread float64) float64 {
	for i := range predictions[c] {
		p := &predictions[c][i]
		if p.feature != k {
			continue
		}
		r := shifted(x, spread, p.shift, p.spread)
		return math.Log(p.sure*math.Exp(math.Min(r, 50)) + 1 - p.sure)
	}
	return 0
}

// shifted is the log likelihood ratio of x for a cause that moves it by shift, more or
// less, against none, by which it strays by spread. What moved the contrary way speaks no
// more for the cause than what did not move: in the tails of both the wider would win.
func shifted(x, spread, shift, wide float64) float64 {
	s := math.Hypot(spread, wide)
	ratio := func(x float64) float64 {
		return logT((x-shift)/s) - math.Log(s) - logT(x/spread) + math.Log(spread)
	}
	if x*shift < 0 {
		return math.Min(ratio(x), ratio(0))
	}
	return ratio(x)
}

// logT is the logarithm of the density of Student's t with four degrees of
// freedom, a constant left out: days have wide tails.
func logT(z float64) float64 { return -2.5 * math.Log1p(z*z/4) }
