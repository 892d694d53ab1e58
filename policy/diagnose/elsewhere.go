package diagnose

import (
	"math"
	"time"

	"rhizostat/policy/advice"
)

// Elsewhere weighs whether the zone's roots stand in another container than is known. In one
// that is larger by a factor q a shot lifts the water content by 1/q of what it did and the crop
// lowers it by 1/q, both from one hour to the next; behind emitters that are blocked shots
// lift less and the crop drinks on. So it is only ever asked where shots lift less, and what
// is found of them says nothing of it: the falls do.
type Elsewhere struct {
	AtMs    int64
	SinceMs int64   // since when falls have been those of another container, 0: they are not
	Odds    float32 // log odds of that against what else makes shots lift less, prior left out
	Fall    float32 // of what is usual, leaky mean
}

// All sizes here: common practice, no source.
const (
	// elsewherePrior is the log odds of a zone that was moved without a word against all
	// that makes shots lift less, when they do.
	elsewherePrior = -1
	// elsewhereFall is the share of a usual fall in a container two and a half times as large,
	// and elsewhereSpread how much that differs: from twice the volume to many times.
	elsewhereFall, elsewhereSpread = 0.4, 0.25
	// mostElsewhere and leastElsewhere bound the odds: one in eight or so may be both a crop that
	// drinks less and emitters that are blocked, or a probe that has lost touch; and mostFallElsewhere what one fall says.
	mostElsewhere, leastElsewhere = 3, -3
	mostFallElsewhere             = 1.5
	// elsewhereDays is how long a fall is remembered, d.
	elsewhereDays = 4
	// elsewhereSaid is the share of what speaks for water that does not come from which it
	// is asked whether the zone was moved, and mostFallSaid the falls that go with that.
	elsewhereSaid, mostFallSaid = 0.25, 0.9
	// leastUsualFall is the least usual fall, as a share of what is expected, that another is
	// held against.
	leastUsualFall = 0.2
)

// fell takes a fall as a share of what was usual, with the spread of sound ones.
func (e *Elsewhere) fell(share, spread float64, atMs int64) {
	if e.AtMs != 0 {
		e.Odds *= float32(math.Exp(-float64(atMs-e.AtMs) / (elsewhereDays * float64(dayMs))))
	}
	share = math.Min(math.Max(share, 0), 2)
	if e.AtMs == 0 {
		e.Fall = 1
	}
	e.AtMs = atMs
	e.Fall += 0.2 * (float32(share) - e.Fall)
	wide := math.Hypot(spread, elsewhereSpread)
	r := logT((share-elsewhereFall)/wide) - math.Log(wide) - logT((share-1)/spread) + math.Log(spread)
	r = math.Min(math.Max(r, -mostFallElsewhere), mostFallElsewhere)
	e.Odds = float32(math.Min(math.Max(float64(e.Odds)+r, leastElsewhere), mostElsewhere))
	switch {
	case e.Odds <= 0:
		e.SinceMs = 0
	case e.SinceMs == 0:
		e.SinceMs = atMs
	}
}

// share is how much of what makes shots lift less is the container's.
func (e *Elsewhere) share(atMs int64) float64 {
	if e.AtMs == 0 || e.SinceMs == 0 || e.Fall > mostFallSaid || atMs-e.AtMs > elsewhereDays*dayMs {
		return 0
	}
	return 1 / (1 + math.Exp(-(elsewherePrior + float64(e.Odds))))
}

// elsewhere is how much of what makes shots lift less is the container's, 0 to 1: nothing while
// the crop was told to have been pruned or to have ended, which explains that falls are less
// since.
func (m *Memory) elsewhere(atMs int64) float64 {
	e := &m.Fast.Fall.Elsewhere
	if m.toldCrop(e.SinceMs, atMs) {
		return 0
	}
	return e.share(atMs)
}

// shareElsewhere gives a zone that was moved without a word its part of what is believed of
// water that does not come or does not stay. It goes to what needs no remedy, and is
// told with a question of its own.
func (m *Memory) shareElsewhere(p *[causeCount]float64, atMs int64) {
	share := m.elsewhere(atMs)
	for _, c := range [...]Cause{EmitterFault, ValveStuckClosed, EdgeChannelling, RootBound} {
		x := share * p[c]
		p[c] -= x
		p[WeatherOrGrowth] += x
	}
}

// movedWords are what people say of roots that went to another container.
var movedWords = []string{"moved", "repotted", "transplanted", "potted up", "potted on", "another container", "another pot", "other container", "other pot"}

// inPlace tells a note that says that the zone was not moved.
func inPlace(note string) bool {
	for _, k := range clauses(note) {
		if !k.asks && (k.has(movedWords) && k.has(negations) || k.has([]string{"same container", "same containers", "same pot", "same pots"})) {
			return true
		}
	}
	return false
}

// Moved is how likely it is that the zone's roots stand in another container than is known, 0
// to 1, and since when: only ever where something is wrong.
func (m *Memory) Moved(atMs int64) (probability float64, sinceMs int64) {
	if m.Belief.SinceMs == 0 {
		return 0, 0
	}
	p, _ := m.Belief.probabilities()
	sum := p[EmitterFault] + p[ValveStuckClosed] + p[EdgeChannelling] + p[RootBound]
	return sum * m.elsewhere(atMs), m.Fast.Fall.Elsewhere.SinceMs
}

// NoWater is how likely it is that water does not arrive, 0 to 1, where the zone was not moved.
func (m *Memory) NoWater(atMs int64) float64 {
	p, _ := m.Belief.probabilities()
	m.shareElsewhere(&p, atMs)
	return p[EmitterFault] + p[ValveStuckClosed]
}

// movedEvidence tells of it.
func (m *Memory) movedEvidence(atMs int64, n Naming) (advice.Reason, bool) {
	p, since := m.Moved(atMs)
	if p < elsewhereSaid {
		return advice.Reason{}, false
	}
	return advice.Say("falls-and-rises-less", advice.Date(time.UnixMilli(since), n.Location), advice.Share(float64(m.Fast.Fall.Elsewhere.Fall))), true
}
