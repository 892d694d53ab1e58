package diagnose

import "math"

// Belief weighs the causes against nothing being wrong: a recursive Bayesian
// filter over one hidden state that is one of the causes or none of them.
//
//	P(c) = exp(l_c) / (1 + sum exp(l_k)),  l_c the log odds of c against nothing
//
// Evidence adds the logarithm of its likelihood ratio to l_c. Between evidence l_c
// falls back to its prior with the time constant of the cause: causes come and
// go (a hidden Markov chain, forgotten at a constant rate).
type Belief struct {
	AtMs    int64
	SinceMs int64               // since when something is said to be wrong; 0: it is not
	CrossMs int64               // since when it has been likelier than not, 0: it is not
	LogOdds [causeCount]float32 // less the prior
	BeganMs [causeCount]int64   // since when the cause has been likelier than 1 in 5; 0: it is not
	Before  [causeCount]uint8   // in how many troubles that are over it was the likeliest
	Top     uint8               // 1 + the cause that has led while SinceMs stands
	Held    bool                // the zone stays too dry for shots to tell what comes: what they told stands
}

const (
	hourMs = int64(3600 * 1000)
	dayMs  = 24 * hourMs

	// alarm is the probability of all causes together from which something is
	// said to be wrong. Priors and caps are such that no single piece of evidence
	// reaches it.
	alarm = 0.5
	// quiet ends what alarm began.
	quiet = 0.4
	// mentioned is the least probability of a cause that is listed.
	mentioned = 0.05
	// most and least bound the log odds, prior left out, so that a year of one
	// state can be unlearned in days.
	most, least = 10, -1
	// mostBeside bounds the same of what does not move water: a zone that has been
	// salty for weeks must not be deaf to a valve that fails today.
	mostBeside = 6.5
	// mostSalt bounds that of salt: half of all zones have some that builds up, and it
	// must not stand before what has just broken.
	mostSalt = 4.5
)

// priors are the log odds of a cause against nothing, and how long its evidence
// counts, which is as long for all that the same shots speak for: time does not tell them apart.
// About one zone in a hundred has a given trouble at a given time; weather and
// growth are always about (common practice, no source).
var priors = [causeCount]struct {
	logOdds float64
	forgetD float64 // d
}{
	RootBound:          {-4.5, 6},
	Compaction:         {-4, 8},
	Oversaturation:     {-3.5, 6},
	EdgeChannelling:    {-5, 6},
	EmitterFault:       {-3.5, 6},
	ValveStuckOpen:     {-5, 3},
	ValveStuckClosed:   {-4.5, 3},
	SensorFault:        {-4, 0.5},
	RootZoneHeat:       {-4, 5},
	SaltBuildUp:        {-3.5, 8},
	UnreportedWatering: {-4.5, 1.5},
	WeatherOrGrowth:    {-2, 3},
}

// fade lets time pass.
func (b *Belief) fade(atMs int64) {
	if b.AtMs == 0 || atMs <= b.AtMs {
		b.AtMs = max(b.AtMs, atMs)
		return
	}
	days := float64(atMs-b.AtMs) / float64(dayMs)
	b.AtMs = atMs
	for c := range b.LogOdds {
		if b.Held && Cause(c).byShots() {
			continue // nothing has spoken against it, nor between it and the others
		}
		b.LogOdds[c] *= float32(math.Exp(-days / priors[c].forgetD))
	}
	b.settle(atMs)
}

// add takes a log likelihood ratio of cause c against nothing.
func (b *Belief) add(c Cause, ratio float64) {
	b.LogOdds[c] = float32(math.Min(math.Max(float64(b.LogOdds[c])+ratio, least), most))
}

// limit takes what exceeds a cap off all of a set of log likelihood ratios that are
// above 0: what tells causes apart stays, what tells the best from nothing is
// bounded.
func limit(r *[causeCount]float64, most float64) {
	best := most
	for _, x := range r {
		best = math.Max(best, x)
	}
	for c, x := range r {
		r[c] = math.Max(math.Min(x, 0), x-(best-most))
	}
}

// addAll takes one log likelihood ratio for each cause.
func (b *Belief) addAll(r *[causeCount]float64) {
	var sum [causeCount]float64
	for c := range r {
		sum[c] = float64(b.LogOdds[c]) + r[c]
	}
	limit(&sum, most)
	over := 0.0 // taken off all alike: what tells heat from weather must not be lost as both near the cap
	for c, x := range sum {
		if Cause(c).beside() && Cause(c) != SaltBuildUp {
			over = math.Max(over, x-mostBeside)
		}
	}
	for c, x := range sum {
		switch {
		case Cause(c) == SaltBuildUp:
			x = math.Min(x, mostSalt)
		case Cause(c).beside():
			x = math.Max(math.Min(x, 0), x-over)
		}
		b.LogOdds[c] = float32(math.Max(x, least))
	}
}

// beside tells causes that do not move water, and so may be there beside one that does.
func (c Cause) beside() bool { return c == SaltBuildUp || c == RootZoneHeat || c == WeatherOrGrowth }

// byShots tells the causes of which shots speak that lift less than they should.
func (c Cause) byShots() bool {
	return c == EmitterFault || c == ValveStuckClosed || c == EdgeChannelling || c == RootBound
}

// young forgets what was gathered of a zone that is not known yet, except what needs
// no knowledge of the zone: ill probes, and shots whose water does not come.
func (b *Belief) young() {
	var kept [causeCount]float32
	for _, c := range [...]Cause{SensorFault, EmitterFault, ValveStuckClosed} {
		kept[c] = b.LogOdds[c]
	}
	b.LogOdds = kept
}

// toward raises the log odds of c (prior included) to a level, if they are below.
func (b *Belief) toward(c Cause, level, step float64) {
	if now := float64(b.LogOdds[c]) + priors[c].logOdds; now < level {
		b.add(c, math.Min(step, level-now))
	}
}

// lower takes the log odds of c (prior included) down to a level, if they are above.
func (b *Belief) lower(c Cause, level float64) {
	if float64(b.LogOdds[c])+priors[c].logOdds > level {
		b.LogOdds[c] = float32(math.Max(level-priors[c].logOdds, least))
	}
}

// ease takes the log odds of c (prior included) down towards a level by a step.
func (b *Belief) ease(c Cause, level, step float64) {
	b.lower(c, math.Max(level, float64(b.LogOdds[c])+priors[c].logOdds-step))
}

// probabilities of the causes; what is missing to 1 is that of nothing.
func (b *Belief) probabilities() (p [causeCount]float64, nothing float64) {
	sum := 1.0
	for c := range p {
		p[c] = math.Exp(float64(b.LogOdds[c]) + priors[c].logOdds)
		sum += p[c]
	}
	for c := range p {
		p[c] /= sum
	}
	return p, 1 / sum
}

// trouble is the probability that something is wrong that needs a remedy.
func (b *Belief) trouble() float64 {
	p, nothing := b.probabilities()
	return 1 - nothing - p[WeatherOrGrowth]
}

// moving is the probability of trouble that moves water, or what is said of it.
func (b *Belief) moving() float64 {
	p, nothing := b.probabilities()
	return 1 - nothing - p[WeatherOrGrowth] - p[SaltBuildUp]
}

// patience is how long a cause must have led before it is said, ms: faults that do
// harm within the day an hour, what grows over days some hours more, for the day's shots
// speak of it, too. Of salt only whole days speak: waiting teaches nothing.
func (c Cause) patience() int64 {
	switch c {
	case ValveStuckOpen, ValveStuckClosed, SensorFault, UnreportedWatering, SaltBuildUp:
		return hourMs
	case EmitterFault:
		return 2 * hourMs
	}
	return 4 * hourMs
}

// settle follows since when something is wrong, and which cause leads.
func (b *Belief) settle(atMs int64) {
	p, nothing := b.probabilities()
	lead := 0
	for c := range p {
		if p[c] > p[lead] {
			lead = c
		}
		switch {
		case p[c] >= 0.2 && b.BeganMs[c] == 0:
			b.BeganMs[c] = atMs
		case p[c] < 0.1:
			b.BeganMs[c] = 0
		}
	}
	wrong := 1 - nothing
	switch {
	case wrong < alarm && b.SinceMs == 0:
		b.CrossMs = 0
	case b.CrossMs == 0:
		b.CrossMs = atMs
	}
	switch {
	case wrong >= alarm && b.SinceMs == 0 && atMs-b.CrossMs >= Cause(lead).patience():
		b.SinceMs, b.Top = b.CrossMs, uint8(lead+1)
	case wrong >= quiet && b.SinceMs != 0:
		b.Top = uint8(lead + 1)
	case wrong < quiet && b.SinceMs != 0:
		if b.Top > 0 {
			b.Before[b.Top-1] = min(b.Before[b.Top-1]+1, 250)
		}
		b.SinceMs, b.Top, b.CrossMs = 0, 0, 0
	}
}
