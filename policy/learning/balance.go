package learning

import "math"

// Interval is the stretch of the account that is still open: from the last
// watering or the last settled hour until now.
type Interval struct {
	FromMs  int64
	Level   float64 // water content at FromMs
	ModelML float64 // uptake as believed since
	GivenML float64 // water given since
	CarryML float64 // what earlier stretches could not place: above 0 more came in than was given
	Begun   bool
}

// arriveS is the e-folding time in which reported water comes in, s: run times
// of some minutes. Common practice, no source.
const arriveS = 180.0

// drink moves the zone to time to (within one course bin): the crop drinks as
// believed and water above capacity drains.
//
//	dW/dt = -uptake/V - (W - capacity)/T  (the second term above capacity)
func (z *Zone) drink(c *Constants, to int64) {
	seconds := float64(to-z.AtMs) / 1000
	demand := z.demand(z.AtMs)
	z.Demands.BinSum += demand * seconds
	z.Demands.BinSeconds += seconds
	if z.SeenMs != 0 {
		effective := z.effective(demand) * limit(c, z.Level) * seconds
		ml := math.Exp(z.rate(c, z.AtMs)) * effective
		volume := z.Volume(c)
		ml = math.Min(ml, 0.5*volume*z.Level)
		z.Block.Drawn += effective
		z.Open.ModelML += ml
		change := -ml / volume
		if z.Climb.FromMs != 0 {
			z.Climb.Fell -= float32(change)
		}
		if s := &z.Shots; s.ComingML > 0 {
			in := s.ComingML * -math.Expm1(-seconds/arriveS)
			s.ComingML -= in
			change += z.Capture.Mean * in / volume
		}
		if over := z.Level - z.Capacity.Mean; over > 0 {
			change -= over * -math.Expm1(-seconds/math.Exp(z.DrainLog.Mean))
		}
		z.predict(c, change, seconds)
		z.Rates.Lift *= math.Exp(-seconds / liftS)
	}
	z.AtMs = to
}

// limit is the share of its demand that the crop can take at a water content:
// 1 down to StressMean, falling in a straight line to 0 at MinMean, the dry
// branch of Feddes, Kowalik and Zaradny (1978).
func limit(c *Constants, level float64) float64 {
	if level >= c.StressMean || c.StressMean <= c.MinMean {
		return 1
	}
	return math.Max(0, (level-c.MinMean)/(c.StressMean-c.MinMean))
}

// closeInterval books the open stretch, which ends at (at, w):
//
//	given = V*(w - before) + uptake + drain
//
// Uptake is the measured fall where nothing was given, held near the believed
// one; with a watering in it, it is the believed one and the rest has drained.
// What neither explains is carried to the next stretch, so that sums stay true.
func (z *Zone) closeInterval(c *Constants, at int64, w float64) {
	o := &z.Open
	if !o.Begun {
		z.openInterval(at, w)
		return
	}
	stored := z.Volume(c) * (w - o.Level)
	uptake, drain := o.ModelML, 0.0
	if o.GivenML == 0 {
		room := math.Min(0.4+3*z.rateOf(c, at).SD(), 1) * o.ModelML
		uptake = math.Min(math.Max(-stored+o.CarryML, o.ModelML-room), o.ModelML+room)
		uptake = math.Max(uptake, 0)
	}
	rest := o.GivenML + o.CarryML - stored - uptake
	switch {
	case rest > 0 && o.GivenML > 0:
		drain, rest = rest, 0
	case rest > 0:
		drain = math.Min(rest, math.Max(0, z.Volume(c)*(o.Level-z.Capacity.Mean)))
		rest -= drain
	}
	bound := 0.02 * c.VolumeML
	z.Account.book(at, uptake, drain)
	z.Demands.DayUptake += uptake
	z.openInterval(at, w)
	z.Open.CarryML = math.Min(math.Max(rest, -bound), bound)
}

// openInterval starts a stretch with nothing carried.
func (z *Zone) openInterval(at int64, w float64) {
	z.Open = Interval{FromMs: at, Level: w, Begun: true}
}

// gap bridges a silence of the water content: the account takes the believed
// uptake and what was given, and nothing is concluded from the difference of
// the two sides.
func (z *Zone) gap(c *Constants, at int64, w float64) {
	o := &z.Open
	if o.Begun {
		drain := 0.0
		if o.GivenML > 0 {
			drain = math.Max(0, o.GivenML-o.ModelML-z.Volume(c)*(w-o.Level))
			drain = math.Min(drain, o.GivenML)
		}
		z.Account.book(at, o.ModelML, drain)
		z.Demands.DayUptake += o.ModelML
	}
	z.afresh(at, w)
}

// afresh starts every watcher anew at (at, w).
func (z *Zone) afresh(at int64, w float64) {
	z.Ticks.forget()
	z.FellFrom, z.FellTicks = 0, 0
	z.Zigzag.begin(at, w)
	z.Shots.StartMs, z.Shots.Rising, z.Shots.LastPeak, z.Shots.LastHeld, z.Shots.ComingML = 0, false, 0, 0, 0
	z.Block = Block{}
	z.Climb = Climb{}
	z.openInterval(at, w)
	z.Level, z.LevelVar = w, math.Max(z.LevelVar, 1e-5)
}

// leastStep is a fall within one tick that neither uptake nor drainage makes
// in a container: 0.03 m3/m3 in some minutes. Common practice, no source.
const leastStep = 0.03

// stepTicks is how many ticks must stay down before a fall counts as a step: a
// probe that jumps about makes none.
const stepTicks = 3

// fellApart tells a fall that no water made and that lasts: a probe was moved,
// or all were. It returns its size, below 0, or 0.
func (z *Zone) fellApart(at int64, w float64, last Tick) float64 {
	s := &z.Shots
	if z.FellFrom > 0 {
		if fall := z.FellFrom - w; fall < 0.6*leastStep {
			z.FellFrom, z.FellTicks = 0, 0
		} else if z.FellTicks++; z.FellTicks >= stepTicks {
			z.FellFrom, z.FellTicks = 0, 0
			return -fall
		}
		return 0
	}
	fall := last.Level - w
	if fall < math.Max(leastStep, 10*z.Ticks.Noise) || at-last.AtMs > 20*minuteMs {
		return 0
	}
	if s.StartMs == 0 || w < s.Before-0.5*leastStep {
		z.FellFrom, z.FellTicks = last.Level, 0
	}
	return 0
}

// Releveled takes a water content that is another because other probes count, m3/m3: no
// water moved, and what the container holds is what it was, though less surely so.
func (z *Zone) Releveled(c *Constants, atMs int64, wc float64) {
	z.Advance(c, atMs)
	if z.SeenMs == 0 {
		return
	}
	z.History.shift(wc - z.Shown())
	z.Rested.shift(wc - z.Shown())
	z.afresh(z.AtMs, wc)
	z.Capacity.widen(0.02)
}

// Landed takes the first water content, m3/m3, of the only probe of a zone after it went to
// another level as no water explains. Where it fell, what the balance makes of the water meanwhile
// is there and is shown as wc, and the capacity, which is known as that probe shows it, lies as
// much lower: held to where it was, a zone whose probe was knocked would be filled to its brim. A
// rise may be water that nobody told of.
func (z *Zone) Landed(c *Constants, atMs int64, wc float64) {
	z.Advance(c, atMs)
	if step := wc - z.Shown(); z.SeenMs != 0 && step <= -leastStep {
		z.stepped(z.AtMs, wc, step)
		z.Gain.widen(gainPace.doubt)
	}
}

// stepped moves all that rests on the level of the water content by the step,
// so that the usual course stays a course of differences.
func (z *Zone) stepped(at int64, w, step float64) {
	z.History.shift(step)
	z.Rested.shift(step)
	z.afresh(at, w)
	z.Capacity.Mean = math.Min(math.Max(z.Capacity.Mean+step, 0.05), 1)
	z.Capacity.widen(0.02)
}

// skip jumps over a silence longer than longestMs.
func (z *Zone) skip(atMs int64) {
	z.AtMs = atMs
	z.Open.ModelML, z.Open.GivenML, z.Open.Begun = 0, 0, false
	z.Shots.ComingML = 0
	z.Climb = Climb{}
	z.Account.roll(atMs)
	z.Demands.skip(atMs)
	z.LevelVar = levelVarMost
	z.Rates.Lift = 0
}
