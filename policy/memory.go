package policy

import (
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/climate"
	"rhizostat/policy/diagnose"
	"rhizostat/policy/forecast"
	"rhizostat/policy/learning"
	"rhizostat/policy/sensing"
)

// memory is all of a zone that a restart must not lose and that is plain data, see
// layout. Times are Unix milliseconds, 0 is never.
type memory struct {
	NowMs      int64
	FirstMs    int64 // first water content
	Learned    learning.Zone
	Forecasts  forecast.Record
	Diagnosis  diagnose.Memory
	Panel      sensing.Panel
	WaterMs    int64 // when water was last given as far as it was reported
	Climate    climate.Inputs
	ClimateMs  [5]int64 // of temperature, humidity, radiation, PPFD, VPD
	Temp       smoothed // substrate temperature, Cel
	PoreEC     smoothed // mS/cm
	SaltIndex  smoothed // of no scale; never published
	DrainEC    smoothed // mS/cm
	FeedEC     smoothed // mS/cm
	Irrigated  running
	Drained    running
	Valve      valve
	Saturation window // s
	FloodedMs  int64  // since when the probes stand under water, 0: they do not
	Totals     seconds
	Shown      learning.Totals // as published: they never fall
	Cycle      cycle
	Plans      planning
	Recovery   recovery
}

// probeMemory is what is kept of one probe.
type probeMemory struct {
	AtMs     int64            // last accepted reading
	Reading  float64          // its water content, m3/m3, of the probe
	Mean     float64          // what that says of the whole container, m3/m3
	HeightCM float64          // where it is now; a person may have moved it
	SlowMs   [slowCount]int64 // when it last told each slow signal
}

// The slow signals that probes tell, each in a message of its own or not.
const (
	slowTemp = iota
	slowPoreEC
	slowSaltIndex
	slowCount
)

// smoothed is a slowly averaged signal.
type smoothed struct {
	AtMs    int64
	Value   float64
	FirstMs int64 // when it began, and how many words it began with
	First   int64
}

// running is a running total as a device reports it.
type running struct {
	AtMs   int64
	Total  float64
	Before float64 // where it fell from, 0: it did not
	FellMs int64
}

// valve is the last word of the zone's valve.
type valve struct {
	AtMs int64
	Open bool
}

// seconds are times since the zone was first seen.
type seconds struct {
	Saturation, InBand, AboveBand, BelowBand float64
}

// cycle is the running course of peaks and troughs.
type cycle struct {
	Peak, Trough           float64 // of the running course, m3/m3
	Depth, Share           float64 // of the last completed dryback
	Overnight              float64 // m3/m3
	LastShotMs             int64
	ShotsToday             int32
	SeenDayMs              int64 // start of the irrigation day that ShotsToday counts
	FirstReachedMs         int64 // when the full point was first reached on that day
	StateMs                int64 // engine time of the last published state
	ForecastMs             int64
	NextPlanMs, NextLookMs int64
	DiagnosedDayMs         int64 // start of the irrigation day that the diagnosis gathers
}

// planning is the bookkeeping of advice.
type planning struct {
	Sequence    uint32
	ClockLog    float64 // ln of the odds that the controller runs the schedule, from the shots seen
	IssuedForMs int64   // start of the latest irrigation day that an advice was issued for
	IssuedMs    int64   // when
	AskedToday  int32   // advice issued while it runs
	AskedDayMs  int64
	Closed      bool // a person rejected or withdrew for the running day: do not ask again
	ClosedDayMs int64
	RetryMs     int64 // when the running day may be planned anew, 0: not
	Deciding    deciding
	QuorumMs    int64   // since when the quorum is missing, 0: it is there
	InspectMs   int64   // when an inspect was last issued
	DrainDayMs  int64   // start of the irrigation day whose drain is to be compared
	DrainShift  float64 // of the capacity that plans by trigger count on, m3/m3
	RepottedMs  int64   // when it was told that the roots got another container or substrate, 0: never
	MovedMs     int64   // when they did: readings from before are of the old one
	// Enough is what water is enough for the two newest irrigation days that were
	// planned for, settled with the first plan of each.
	Enough [2]enough
	// UsualML is the water of a day on which nothing was thought to be wrong with how it
	// comes, mL, a slow mean; 0 before the first.
	UsualML float64
}

// enough is the water that will do on an irrigation day.
type enough struct {
	DayMs int64   // its start
	ML    float64 // 0: the site's limit
}

// recovery is the time after a root disturbance.
type recovery struct {
	SinceMs int64 // 0: not recovering
	Kind    uint8
}

// remembered is what the engine goes by of an advice; the desk has the words.
type remembered struct {
	ID         string
	IssuedAt   time.Time
	ValidFrom  time.Time
	ValidUntil time.Time
	Action     advice.Action
	Setpoints  *advice.Setpoints // nil for Inspect
}

func remember(a *advice.Advice) remembered {
	return remembered{a.ID, a.IssuedAt, a.ValidFrom, a.ValidUntil, a.Action, a.Setpoints}
}

// planned is an advice with what became of it.
type planned struct {
	Advice remembered
	State  ApprovalState
	Note   string
	Drain  float64 // fraction of the water given that is expected to drain
	Holds  float64 // what the container was then believed to hold, m3/m3
	Stood  bool    // it was approved at some time
	Asks   uint8   `json:",omitempty"` // of one that asks to look: what for; 0: nothing, or it is over
}

// add takes the word of the only source of a signal.
func (s *smoothed) add(at int64, v float64, tau time.Duration) {
	s.addOneOf(at, v, tau, at-s.AtMs, 1)
}

// addOneOf takes the word of one of some sources that are to count alike, sinceMs after
// its last one: by the time since any of them spoke, the first of each round would say
// all and the others next to nothing.
func (s *smoothed) addOneOf(at int64, v float64, tau time.Duration, sinceMs int64, sources int) {
	if s.AtMs == 0 || at-s.AtMs > 12*tau.Milliseconds() {
		s.AtMs, s.Value, s.First, s.FirstMs = at, v, 1, at
		return
	}
	if at == s.FirstMs && sources > 1 { // nothing is known yet but what came at this instant
		s.First++
		s.Value += (v - s.Value) / float64(s.First)
		return
	}
	share := float64(max(min(sinceMs, at-s.FirstMs), 0)) / float64(max(sources, 1))
	s.Value += share / (share + float64(tau.Milliseconds())) * (v - s.Value)
	s.AtMs = at
}

// known gives the value while it is not too old to speak of now.
func (s *smoothed) known(now int64, age time.Duration) *float64 {
	if s.AtMs == 0 || now-s.AtMs > age.Milliseconds() {
		return nil
	}
	v := s.Value
	return &v
}

// step gives what a running total has grown by, mL, and for how long, ms, when at most
// most mL can have come: a share of it that came at once, and so much an hour. A total
// that falls was reset, and what it stands at has come since; one that only flickers has
// not, and one that is back at where it was before it fell never was away. What it cannot
// have grown by is no water: the meter is another.
func (r *running) step(at int64, total, most, mostPerHour float64) (grown float64, overMs int64) {
	overMs = at - r.AtMs
	most += mostPerHour * float64(overMs) / float64(time.Hour.Milliseconds())
	was := r.Total
	switch grown = total - was; {
	case r.AtMs == 0:
		r.AtMs, r.Total = at, total
		return 0, 0
	case grown < 0 && -grown <= flicker*was:
		r.AtMs = at // and was stands, or the way back would count
		return 0, overMs
	case grown < 0:
		r.Before, r.FellMs = was, at
		grown = total
	case r.Before > 0 && total >= r.Before*(1-flicker) && at-r.FellMs <= glitchMs:
		grown, r.Before = max(total-r.Before, 0), 0
	case grown > 0:
		r.Before = 0 // it counts from where it fell to
	}
	if grown > most {
		grown = 0
	}
	r.AtMs, r.Total = at, total
	return grown, overMs
}

// flicker is the share of a running total by which it may fall without having been
// reset: rounding, and converters that count to and fro (common practice, no source).
const flicker = 0.001

// glitchMs is how long after a fall a total that is back at where it was has only
// stammered, as a device does that starts again; one that was reset takes longer to count so
// far (common practice, no source).
const glitchMs = 10 * 60 * 1000
