// Package learning is what the engine learns of one zone by watching it: when
// it was watered, its peaks, troughs and drybacks, what the crop drinks for
// what the climate asks, how much of a shot stays, and how much the container
// holds. Entry point: Zone. Volumes are mL per container, times Unix
// milliseconds, water contents m3/m3 of the whole container.
//
// A zone is fed in time order through Observe, Water, Valve, Drain, Demand and
// Advance. It is a plain value of fixed size: copying it is a snapshot.
package learning

// Constants is what the physics and the site file say of a zone. They are not
// learned; a transplant changes them.
type Constants struct {
	VolumeML       float64 // of the container, above 0
	DesignCapacity float64 // container capacity of the physics, m3/m3
	MinMean        float64 // mean water content at which the crop can take no more, m3/m3
	StressMean     float64 // mean water content below which it drinks less, m3/m3; 0: never less
	MaxMean        float64 // mean water content of the container when every pore is full, m3/m3
	DayStartS      int32   // start of the zone's daytime, s after midnight UTC, 0 to 86399
	DayEndS        int32   // end of it, likewise; equal to DayStartS: no telling day from night
}

// Zone is what is known of a zone. The zero value knows nothing yet. All
// fields are exported and of fixed size so that the whole can be written byte
// by byte; only this package changes them.
type Zone struct {
	AtMs     int64   // newest input
	SeenMs   int64   // newest water content, 0: none yet of this container
	Level    float64 // filtered water content, m3/m3
	LevelVar float64 // its variance
	Ahead    float64 // by how much water on its way to the probes lifts it over what they show, m3/m3
	// NIS is the mean normalised innovation squared of the newest 2000
	// readings, each at most 25: 1 where the level's spread is honest, above it
	// where readings stray further than believed.
	NIS         float32
	Corrections int32
	FellFrom    float64 // level before a fall that may be a step, 0: none
	FellTicks   int32   // since

	Rates      Rates
	Capture    Estimate // share of a shot that stays while below capacity
	Gain       Estimate // change of the water content seen over that of the whole container
	Capacity   Estimate // apparent container capacity, m3/m3
	OverfullMs int64    // newest sign that the container was filled over it, 0: none
	StoodMs    int64    // newest sight of a water content that stands above it, 0: none
	CaughtMs   int64    // newest sight of it by drain that was caught, 0: none
	Rested     Rested
	Late       Lateness
	DrainLog   Estimate // ln of the e-folding time of water above capacity, s

	Ticks   Ticks
	Shots   ShotState
	Guesses [guesses]Guess // the newest first
	Zigzag  Zigzag
	Block   Block
	Open    Interval
	Climb   Climb
	Account Account
	Demands DemandState
	Course  Course
	History History
}

// Events is what one observation completed. A time is 0 where the thing did
// not happen; levels are m3/m3.
type Events struct {
	ShotAtMs     int64   // a watering was seen in the water content; its start
	EndedAtMs    int64   // a watering has drained or the next one began; its start
	EndedML      float64 // its volume: reported, or worked out from the rise
	EndedFrom    float64 // water content that it began from
	EndedRise    float64 // from there to its top; 0 where it did not show
	EndedKnown   bool    // its volume was reported
	EndedTopMs   int64   // from its start to its top, ms
	KeptShare    float64 // share of it that was still there, 0 to 1
	Unreported   bool    // that watering was not reported though this zone's are
	MissedAtMs   int64   // a reported watering that did not show in the water content
	PeakAtMs     int64   // a peak was passed
	Peak         float64
	TroughAtMs   int64 // a trough was passed
	Trough       float64
	Dryback      float64 // depth of the dryback that the trough ended, 0: none
	DrybackShare float64 // as a share of its peak
	Overnight    float64 // overnight dryback, completed by the day's first shot; 0: none
	PlateauAtMs  int64   // drainage after a watering has ended
	Plateau      float64
	StepAtMs     int64   // the water content fell faster than water can leave
	Step         float64 // by that much, below 0
}

// Observe takes the zone's water content wc with its standard deviation sd at
// atMs and returns what it completed. Observations before the newest input
// count as if made now; NaN and values outside 0 to 1 are an invariant broken
// by the caller and panic.
func (z *Zone) Observe(c *Constants, atMs int64, wc, sd float64) Events {
	if !(wc >= 0 && wc <= 1) || !(sd >= 0 && sd <= 1) {
		panic(badObservation(atMs, wc, sd))
	}
	var ev Events
	z.Advance(c, atMs)
	switch {
	case z.SeenMs != 0:
	case z.Rates.Begun:
		z.another(wc, sd)
	default:
		z.begin(c, wc, sd)
	}
	z.correct(c, wc, sd)
	if at, w, ok := z.Ticks.add(z.AtMs, wc); ok {
		z.tick(c, at, w, &ev)
	}
	z.SeenMs = z.AtMs
	return ev
}

// tick takes the next thinned water content through all that watches it.
func (z *Zone) tick(c *Constants, at int64, w float64, ev *Events) {
	last, any := z.Ticks.last()
	if z.Ticks.gap(at) {
		z.gap(c, at, w)
	} else if step := z.fellApart(at, w, last); any && step < 0 {
		ev.StepAtMs, ev.Step = at, step
		z.stepped(at, w, step)
	}
	z.watchShots(c, at, w, ev)
	z.Zigzag.watch(at, w, z.reversal(), ev)
	z.settle(c, at, w, ev)
	z.stands(c, at, w)
	z.rests(at, w)
	z.learnUptake(c, at, w)
	z.Ticks.push(at, w)
	z.History.add(at, w)
}

// Advance brings the zone's time to atMs: the crop drinks as it is believed to.
// A time before the newest input changes nothing.
func (z *Zone) Advance(c *Constants, atMs int64) {
	if z.AtMs == 0 {
		z.AtMs = atMs
		z.Account.HourMs = atMs - mod(atMs, hourMs)
		z.Demands.DayMs = atMs
	}
	if atMs-z.AtMs > longestMs {
		z.skip(atMs)
	}
	for z.AtMs < atMs {
		to := min(atMs, z.AtMs-mod(z.AtMs, binMs)+binMs)
		z.drink(c, to)
		if mod(to, binMs) == 0 {
			z.binEnds(c, to)
		}
	}
}

// mod is the remainder of a by b that is never below 0.
func mod(a, b int64) int64 { return (a%b + b) % b }

const (
	minuteMs = int64(60_000)
	hourMs   = 60 * minuteMs
	dayMs    = 24 * hourMs

	// longestMs bounds what is worked through after a silence of the whole
	// zone; what lies before it is skipped.
	longestMs = dayMs
)
