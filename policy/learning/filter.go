package learning

import (
	"fmt"
	"math"
)

// Estimate is one learned number with its variance and the change that it has
// still to spend today.
type Estimate struct {
	Mean   float64
	Var    float64
	Spent  float32 // sum of the changes since the day began
	Streak int8    // days in a row that used up their allowance, signed by direction
	Age    int8    // days since its prior, at most 100
	Count  int32   // observations taken in
}

// SD is the standard deviation of the estimate.
func (e *Estimate) SD() float64 { return math.Sqrt(e.Var) }

// reset makes an estimate of a prior.
func (e *Estimate) reset(mean, sd float64) { *e = Estimate{Mean: mean, Var: sd * sd} }

// pace is how fast an estimate may learn: slow enough to live through a day of
// bad readings, quick enough to follow a crop.
type pace struct {
	low, high float64 // bounds of what is physical
	drift     float64 // standard deviation of the true value's change in a day
	allowance float64 // largest change of the estimate in a day once it is known
	known     float64 // sd below which the allowance holds
	doubt     float64 // sd once two days have used up their allowance in one direction
}

// take moves the estimate by the scalar Kalman update for an observation with
// standard deviation sd. Innovations beyond two standard deviations count as
// two (Huber 1964), and once the estimate is known a day may change it by no
// more than its allowance, which is half of what one bad day may do: a bad day
// can fall on two of ours. Once two days have used it up in one direction the
// estimate is in doubt and free: one bad day passes, a crop that has changed
// does not.
func (e *Estimate) take(value, sd float64, p *pace) {
	r := sd * sd
	s := e.Var + r
	v := value - e.Mean
	if lim := 2 * math.Sqrt(s); v > lim {
		v = lim
	} else if v < -lim {
		v = -lim
	}
	k := e.Var / s
	step := e.bounded(k*v, p)
	e.Mean = math.Min(math.Max(e.Mean+step, p.low), p.high)
	e.Var *= 1 - k
	e.Count++
}

// youngDays is how long an estimate learns without allowance from its prior on:
// before it has seen a week nothing tells a bad day from a good one.
const youngDays = 7

// bounded cuts a step to what the day still allows, and books it. A free step is
// not booked: once it has moved, a doubted estimate is held again.
func (e *Estimate) bounded(step float64, p *pace) float64 {
	if e.Age < youngDays || e.Var >= p.known*p.known {
		return step
	}
	spent := float64(e.Spent)
	step = math.Min(math.Max(spent+step, -p.allowance), p.allowance) - spent
	e.Spent += float32(step)
	return step
}

// newDay lets the truth drift for a day and opens a new allowance.
func (e *Estimate) newDay(p *pace) {
	e.Var = math.Min(e.Var+p.drift*p.drift, 1)
	e.Age = min(e.Age+1, 100)
	full := 0.9 * p.allowance
	switch spent := float64(e.Spent); {
	case spent > full:
		e.Streak = int8(min(max(int(e.Streak), 0)+1, 100))
	case spent < -full:
		e.Streak = int8(max(min(int(e.Streak), 0)-1, -100))
	default:
		e.Streak = 0
	}
	e.Spent = 0
	if e.Streak >= 2 || e.Streak <= -2 {
		e.Var = math.Max(e.Var, p.doubt*p.doubt)
	}
}

// widen forgets some of what is known: the variance becomes at least sd squared.
func (e *Estimate) widen(sd float64) {
	e.Var = math.Max(e.Var, sd*sd)
	e.Spent, e.Streak = 0, 0
}

// Spread of the water content that the balance does not explain: per second,
// (m3/m3)^2. An hour of pure prediction grows to 0.003, a day to 0.013. Chosen so
// that the normalised innovation squared is near 1 in the facility of the tests.
const levelDrift = 2e-9

// most the level's variance can grow to in a silence: an sd of 0.1.
const levelVarMost = 0.01

// predict moves the level by a change of water content over seconds.
func (z *Zone) predict(c *Constants, change, seconds float64) {
	z.Level = math.Min(math.Max(z.Level+change, 0), math.Max(c.MaxMean, z.Level))
	z.LevelVar = math.Min(z.LevelVar+levelDrift*seconds, levelVarMost)
}

// correct is the update by one reading. An innovation beyond three standard
// deviations is a watering that nobody reported or a fault that the consensus
// let through: the level then follows the reading rather than the balance.
func (z *Zone) correct(c *Constants, wc, sd float64) {
	r := math.Max(sd*sd, 2.5e-7) // no reading is better than 0.0005
	v := wc - z.Level
	z.Ahead = 0
	if v < 0 {
		z.Ahead = math.Min(z.onItsWay(c, wc), -v)
		v += z.Ahead
	}
	if z.SeenMs != 0 {
		nis := float32(v * v / (z.LevelVar + r))
		z.Corrections = min(z.Corrections+1, 2000)
		z.NIS += (min(nis, 25) - z.NIS) / float32(z.Corrections)
	}
	if v*v > 9*(z.LevelVar+r) {
		z.LevelVar = math.Min(v*v, levelVarMost)
	}
	k := z.LevelVar / (z.LevelVar + r)
	z.Level += k * v
	z.LevelVar *= 1 - k
	if v > 0 {
		z.shows(c, k*v)
	}
}

// WaterContent returns the filtered water content and its standard deviation,
// m3/m3, and false before the first reading.
func (z *Zone) WaterContent() (level, sd float64, ok bool) {
	return z.Level, math.Sqrt(z.LevelVar), z.SeenMs != 0
}

// Shown is the filtered water content as the probes show it, without the water that is
// on its way to them, m3/m3, 0 to 1. Of probes that have been silent for longer than
// water is on its way it is the balance's.
func (z *Zone) Shown() float64 {
	if z.AtMs-z.SeenMs > mostOnItsWayMs {
		return z.Level
	}
	return math.Max(z.Level-z.Ahead, 0)
}

func badObservation(atMs int64, wc, sd float64) string {
	return fmt.Sprintf("learning: impossible water content %v with sd %v at %d ms", wc, sd, atMs)
}
