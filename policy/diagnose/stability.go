package diagnose

import (
	"math"

	"rhizostat/policy/learning"
)

// Steady follows how predictable a zone's drinking is.
type Steady struct {
	Error       float32 // mean of |ln(a day's uptake over what was expected of it)|, less Lag
	Lag         float32 // mean of that with its sign: a crop that grows drinks more than was learned of it
	DepthMean   float32 // of the overnight drybacks, m3/m3
	DepthVar    float32
	ScatterMean float32    // mean distance of the probes from each other, m3/m3
	ScatterMove float32    // mean change of that from day to day, m3/m3
	AheadLog    [2]float32 // ln of uptake per demand expected of the running day, by day and by night
	Asked       [2]float32 // demand that it has brought so far, times s
	Begun       bool       // AheadLog is known
	Days        uint16     // with an error
	Depths      uint16
	Scatters    uint16
	GoodDays    uint8 // in a row at or above steadyAt
	CauseBefore uint8 // 1 + the cause that led when the roots were disturbed, 0: none
	DisturbedMs int64 // 0: not recovering
	EndedMs     int64 // when the last recovery ended, 0: never
}

const (
	// memoryDays is the weight of a new day in the means: about four days.
	steadyWeight = 0.25
	// steadyAt is the stability index from which drinking is predictable, and
	// steadyDays for how many days in a row; leastRecovery days pass in any case and
	// mostRecovery at most. New roots show within one to two weeks (common
	// practice, no source).
	steadyAt      = 0.7
	steadyDays    = 2
	leastRecovery = 3
	mostRecovery  = 28
	// What halves the index, each for itself: a day's uptake that strays by a
	// quarter, overnight drybacks that stray by half of their mean, probes whose
	// distance moves by 0.02 m3/m3 a day (sizes are ours).
	halfError   = 0.25
	halfDepth   = 0.5
	halfScatter = 0.02
	// mostLag bounds what growth is taken for: 10 % a day, of which two days are not learned yet.
	mostLag = 0.2
)

// happened takes what an observation completed.
func (s *Steady) happened(ev *learning.Events) {
	if ev.Overnight <= 0 {
		return
	}
	s.Depths = min(s.Depths+1, 1000)
	if s.Depths == 1 {
		s.DepthMean, s.DepthVar = float32(ev.Overnight), 0
		return
	}
	w := float32(math.Max(1/float64(s.Depths), steadyWeight))
	d := float32(ev.Overnight) - s.DepthMean
	s.DepthMean += w * d
	s.DepthVar = (1 - w) * (s.DepthVar + w*d*d)
}

// look adds up what the running day asks of the crop.
func (s *Steady) look(in *Inputs) {
	k := 0
	if in.Learned.Night {
		k = 1
	}
	s.Asked[k] += float32(drawn(in) * 300)
}

// expectedML is the uptake that was expected when the day began, of a day that asked for what
// it has; 0: not known. What weather nobody foresaw makes of a day is no mood of the crop.
func (s *Steady) expectedML() float64 {
	if !s.Begun {
		return 0
	}
	return math.Exp(float64(s.AheadLog[0]))*float64(s.Asked[0]) + math.Exp(float64(s.AheadLog[1]))*float64(s.Asked[1])
}

// day takes a finished day and what is expected of the next, ln of uptake per demand by day
// and by night.
func (s *Steady) day(f *Features, aheadLog [2]float64, atMs int64) {
	if expected := s.expectedML(); f.Hours >= wholeHours && expected > 0 && f.UptakeML > 0 {
		s.Days = min(s.Days+1, 1000)
		w := float32(math.Max(1/float64(s.Days), steadyWeight))
		e := float32(math.Min(math.Max(math.Log(f.UptakeML/expected), -1), 1))
		s.Error += w * (float32(math.Abs(float64(e-s.Lag))) - s.Error)
		s.Lag = min(max(s.Lag+steadyWeight*(e-s.Lag), -mostLag), mostLag)
	}
	s.AheadLog, s.Asked, s.Begun = [2]float32{float32(aheadLog[0]), float32(aheadLog[1])}, [2]float32{}, true
	if f.Known[Scatter] {
		x := f.Value[Scatter]
		if s.Scatters > 0 {
			s.ScatterMove += float32(math.Max(1/float64(s.Scatters), steadyWeight)) * (float32(math.Abs(float64(x-s.ScatterMean))) - s.ScatterMove)
		}
		s.Scatters = min(s.Scatters+1, 1000)
		s.ScatterMean = x
	}
	s.recover(atMs)
}

// recover counts the steady days and ends a recovery.
func (s *Steady) recover(atMs int64) {
	if s.index() >= steadyAt {
		s.GoodDays = min(s.GoodDays+1, 250)
	} else {
		s.GoodDays = 0
	}
	if s.DisturbedMs == 0 {
		return
	}
	age := atMs - s.DisturbedMs
	if age >= leastRecovery*dayMs && s.GoodDays >= steadyDays || age >= mostRecovery*dayMs {
		s.DisturbedMs, s.EndedMs = 0, atMs
	}
}

// relapsed tells the trouble that was there before the roots were disturbed, for as long
// as a return of it can be that.
func (s *Steady) relapsed(c Cause, atMs int64) bool {
	since := max(s.DisturbedMs, s.EndedMs)
	return s.CauseBefore == uint8(c)+1 && c != WeatherOrGrowth && atMs-since < relapseDays*dayMs
}

// relapseDays is how long after a recovery the old trouble is one that has come back
// (common practice, no source: two months).
const relapseDays = 60

// index is the stability index; see Memory.Stability.
func (s *Steady) index() float64 {
	if s.Days < 2 || s.Depths < 2 || s.DepthMean <= 0 {
		return 0
	}
	half := func(x, at float64) float64 { return 1 / (1 + (x/at)*(x/at)) }
	i := half(float64(s.Error), halfError) * half(math.Sqrt(float64(s.DepthVar))/float64(s.DepthMean), halfDepth)
	if s.Scatters < 2 {
		return math.Sqrt(i)
	}
	return math.Cbrt(i * half(float64(s.ScatterMove), halfScatter))
}

// Stability is the stability index, 0 to 1: how predictable the zone's drinking
// is. It is the geometric mean of three parts, each 1 for perfect and a half at
// the named value:
//
//	how far a day's uptake strays from what was expected of it   |ln| of 0.25
//	of a day that asked for as much, and from the growth of the
//	days before
//	how far overnight drybacks stray from their mean             half of the mean
//	how far the probes' distance moves from day to day           0.02 m3/m3
//
// each over about the last four days. The third counts only where there are two
// usable probes. 0 until two days and two drybacks were seen. The form is ours.
func (m *Memory) Stability() float64 { return m.Steady.index() }

// Recovering reports whether the zone is still settling after its roots were
// disturbed: until the stability index has been 0.7 or more for two days in a
// row, for three days at least and four weeks at most.
func (m *Memory) Recovering(int64) bool { return m.Steady.DisturbedMs != 0 }

// Disturbed begins a recovery: a transplant, another container or substrate, or
// roots disturbed. What was known of the zone's days is of another root zone:
// baselines and beliefs begin anew. The cause that led is kept, so that its
// return is called a relapse.
func (m *Memory) Disturbed(whenMs, atMs int64) {
	before := m.Steady.CauseBefore
	if m.Belief.SinceMs != 0 {
		before = m.Belief.Top
	}
	counts := m.Belief.Before
	m.Belief = Belief{AtMs: atMs, Before: counts}
	m.Baselines = Baselines{}
	m.Trend = Trend{}
	m.Size = Size{}
	m.Fast.Shots = ShotTest{}
	m.Fast.Fall = FallWatch{}
	m.Fast.Lifted = Lifted{}
	m.Fast.Probes, m.Fast.Round, m.Fast.Drifts = nil, Round{WaterMs: atMs}, Drifts{}
	m.Fast.Kept, m.Fast.Awaited = KeptWatch{}, AwaitedWatch{Came: m.Fast.Awaited.Came} // the controller is the same
	m.Fast.Dry, m.Fast.Wet, m.Fast.HighMs = DryWatch{}, WetWatch{}, 0
	m.Fast.Unreported, m.Fast.Rises = Unreported{}, RiseWatch{Var: m.Fast.Rises.Var}
	m.Fast.Recently.AtMs = 0 // the next look begins anew
	m.Today = Collector{}
	m.Steady = Steady{DisturbedMs: whenMs, CauseBefore: before}
}
