package learning

import "math"

// Climb is the way up from a night's or a long dryback's low through the first
// waterings after it, while there is clear room below the capacity: nothing of
// them drains but what runs past the substrate, so that what shows of them, and
// of what was drunk meanwhile, is
//
//	rise + fall drunk = gain*capture*given/V
//
// with nothing in it of drain, capacity or how fast water drains.
type Climb struct {
	FromMs  int64   // start of the first watering, 0: none is followed
	Level   float32 // water content before it, m3/m3
	GivenML float32 // reported since
	Fell    float32 // of the water content by what was drunk since, m3/m3
	// The newest rest between waterings at which all this was true.
	Rested bool
	Share  float32 // (rise + Fell) over GivenML/V
	SD     float32
}

const (
	// dryMs without water before the first watering make its start a level
	// that is at rest: the last one's drainage is over, and a probe beside an
	// emitter has forgotten it.
	dryMs = 3 * hourMs
	// restMs after a watering's top most of what a probe beside the emitter
	// sees too much of it has gone (common practice, no source: fact 10 of the
	// reference gives 10 to 15 minutes for the fast part of drainage).
	restMs = 25 * minuteMs
	// longestClimb bounds how long the uptake is trusted.
	longestClimb = 8 * hourMs
	// clearRoom is how far below the believed capacity water must stay, m3/m3,
	// beside two standard deviations of it: the capacity of a profile that is not at rest is
	// no sharp edge.
	clearRoom = 0.005
	// climbSD is how far off one climb is beyond what noise and uptake explain,
	// as a share: water that has not spread to its rest yet.
	climbSD = 0.12
	// leastShows is the least part of what was expected to show that a probe's
	// place explains: less of it has run past the substrate.
	leastShows = 0.6
)

// climbs follows a reported watering that begins at (at, before), before it is
// booked; lastMs is the start of the one before it.
func (z *Zone) climbs(c *Constants, at int64, before float64, lastMs int64) {
	l := &z.Climb
	if l.FromMs != 0 {
		z.climbRests(c, at, before)
	}
	if l.FromMs != 0 && at-l.FromMs > longestClimb {
		z.climbEnds(c)
	}
	if l.FromMs == 0 && (lastMs == 0 || at-lastMs >= dryMs) && z.SeenMs != 0 && at-z.SeenMs < 30*minuteMs {
		*l = Climb{FromMs: at, Level: float32(before)}
	}
}

// climbed adds a watering's volume to what the climb was given; without clear
// room for it, or where its volume is not known, the climb ends with the rest
// before it.
func (z *Zone) climbed(c *Constants, volumeML float64, known bool) {
	l := &z.Climb
	if l.FromMs == 0 {
		return
	}
	up := float64(l.Level-l.Fell) + (float64(l.GivenML)+volumeML)*z.Capture.Mean/z.Volume(c)
	if !known || math.Max(up, z.Level+volumeML/z.Volume(c)) > z.clear() {
		z.climbEnds(c)
		return
	}
	l.GivenML += float32(volumeML)
}

// clear is the water content up to which nothing drains but what runs past.
func (z *Zone) clear() float64 { return z.Capacity.Mean - clearRoom - z.Capacity.SD() }

// climbRests takes down what has shown by (at, w), where the newest watering
// has come to rest.
func (z *Zone) climbRests(c *Constants, at int64, w float64) {
	l, s := &z.Climb, &z.Shots
	given := float64(l.GivenML) / c.VolumeML
	if l.FromMs == 0 || given <= 0 || at-max(s.TopMs, s.LastMs) < restMs {
		return
	}
	l.Rested = true
	l.Share = float32((w - float64(l.Level-l.Fell)) / given)
	l.SD = float32(math.Sqrt(sq(climbSD) + (sq(1.5*z.Ticks.spread()+0.001)+sq(0.2*float64(l.Fell)))/sq(given)))
}

// climbEnds learns from the newest rest of a climb and forgets it.
func (z *Zone) climbEnds(c *Constants) {
	l := z.Climb
	z.Climb = Climb{}
	if !l.Rested || l.SD > 0.5 {
		return
	}
	before := z.Gain.Mean
	expected := z.Gain.Mean * z.Capture.Mean
	variance := sq(z.Capture.Mean)*z.Gain.Var + sq(z.Gain.Mean)*z.Capture.Var + sq(float64(l.SD))
	lim := 2 * math.Sqrt(variance)
	innovation := math.Min(math.Max(float64(l.Share)-expected, -lim), lim)
	byGain, byCapture := z.Capture.Mean, z.Gain.Mean
	if float64(l.Share) < leastShows*expected {
		byGain = 0
	}
	z.Gain.share(byGain, innovation, variance, &gainPace)
	z.Capture.share(byCapture, innovation, variance, &capturePace)
	z.gained(before)
}
