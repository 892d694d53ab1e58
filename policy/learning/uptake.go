package learning

import "math"

// Rates are the crop's uptake for what is asked of it, ln of mL/s per unit of
// demand, by day and by night, and what the last days add to both.
type Rates struct {
	Day, Night Estimate
	// Lift is what the newest hours say beyond the learned rates: weather or a
	// mood of the crop, forgotten with liftS. It is a state, not a parameter.
	Lift    float64
	LiftVar float64
	Begun   bool
	// Soon is ln of the fall soon after a watering over that well after it, at
	// equal demand: water that still moves past the probes hides some uptake.
	Soon       Estimate
	SoonFall   float32 // of the newest busy block
	SoonSD     float32
	SoonShotMs int64 // the watering that it followed, 0: none
}

// liftS is the time in which the lift fades to 1/e, s: a day and a half, about
// as long as weather persists. Common practice, no source.
const liftS = 1.5 * 86400

// ratePace bounds the ln of a rate; twice the allowance is the 5 % that one bad
// day may move a learned number.
var ratePace = pace{low: -40, high: 40, drift: 0.06, allowance: 0.024, known: 0.2, doubt: 0.4}

// rateOf returns the rate of the phase of day at a time.
func (z *Zone) rateOf(c *Constants, at int64) *Estimate {
	if z.isDay(c, at, z.Course.mean()) {
		return &z.Rates.Day
	}
	return &z.Rates.Night
}

// RateLog is ln of the uptake per unit of demand believed at a time, mL/s per unit
// of demand, and the rate that it rests on.
func (z *Zone) RateLog(c *Constants, at int64) (log float64, rate *Estimate) {
	rate = z.rateOf(c, at)
	return rate.Mean + z.Rates.Lift, rate
}

// isDay tells whether the crop drinks at a time as it does by day: in the zone's
// daytime, and once a day of climate was told also at times of day that usually ask for
// at least litShare of the mean demand, mean. The marks of an irrigation day are people's
// choice, and lamps burn on after it; a crop that stands in light has its stomata open
// whatever the clock says.
func (z *Zone) isDay(c *Constants, at int64, mean float64) bool {
	if c.DayStartS == c.DayEndS {
		return true
	}
	length := mod(int64(c.DayEndS)-int64(c.DayStartS), 86400)
	if mod(at/1000-int64(c.DayStartS), 86400) < length {
		return true
	}
	return z.Demands.ClimateMs != 0 && z.Course.whole() && float64(z.Course.Bins[binOf(at)]) >= litShare*mean
}

// litShare is the share of the mean demand from which a time of day is lit: in the
// dark air asks for a tenth to a third of it (common practice, no source).
const litShare = 0.7

// rate is ln of uptake per demand believed at a time.
func (z *Zone) rate(c *Constants, at int64) float64 { return z.rateOf(c, at).Mean + z.Rates.Lift }

// begin sets the priors with the first reading.
//
// Uptake: a container's available water is used in one to two days (Rutgers
// FS812); the prior is half of it a day, within a factor of e. Capacity: that of the physics, sd 0.03.
// Drainage: 10 to 15 minutes end its fast part (fact 10 of the reference).
func (z *Zone) begin(c *Constants, wc, sd float64) {
	z.Level, z.LevelVar = wc, sd*sd+1e-6
	z.beginSoil()
	z.Capacity.reset(c.DesignCapacity, 0.03)
	z.DrainLog.reset(math.Log(900), 0.7)
	z.beginRates(c)
}

// another begins with the first reading of another container: its water content says
// nothing of how the old one's went on, and what was given before it shows is in it.
func (z *Zone) another(wc, sd float64) {
	z.afresh(z.AtMs, wc)
	z.LevelVar = sd*sd + 1e-6
}

// NightRate is what a crop is taken to drink by night over what it drinks by day, until
// its nights have been seen (common practice, no source).
const NightRate = 0.4

func (z *Zone) beginRates(c *Constants) {
	perDay := 0.5 * math.Max(0.05, c.DesignCapacity-math.Max(c.StressMean, c.MinMean)) * c.VolumeML
	mean := z.Course.mean()
	rate := math.Log(perDay / 86400 / mean)
	z.Rates.Day.reset(rate, 1)
	z.Rates.Night.reset(rate, 1)
	if z.Demands.ClimateMs == 0 {
		z.Rates.Night.Mean += math.Log(NightRate) // no climate says that nights ask less
	}
	z.Rates.Soon.reset(0, 0.2)
	z.Rates.Lift, z.Rates.LiftVar = 0, liftVar
	z.Rates.Begun = true
}

// learnUptake takes a tick into the block and learns from one that is full.
func (z *Zone) learnUptake(c *Constants, at int64, w float64) {
	b, s := &z.Block, &z.Shots
	if b.ShotMs != s.LastMs {
		z.blockEnds(c)
		*b = Block{ShotMs: s.LastMs}
	}
	since := at - s.TopMs
	if s.LastMs == 0 {
		since = quietMs
	}
	if s.MaybeMs != 0 || s.Rising || since < z.drainedMs() {
		return
	}
	if b.Busy && since >= quietMs {
		z.blockEnds(c)
		*b = Block{ShotMs: s.LastMs}
	}
	b.add(at, w)
	if b.N == 1 {
		b.Busy = since < quietMs
	}
	if at-b.FromMs < blockMs {
		return
	}
	if s.StartMs == 0 && at-z.Open.FromMs >= blockMs {
		z.closeInterval(c, at, w)
	}
	if falls := math.Exp(z.rate(c, at)) * b.Drawn / z.Volume(c); falls < 2*z.Ticks.spread() && at-b.FromMs < longestBlock {
		return
	}
	z.blockEnds(c)
	*b = Block{ShotMs: s.LastMs}
	b.add(at, w)
}

// drainedMs is how long after its top the fall of a watering is no longer
// mostly drainage.
func (z *Zone) drainedMs() int64 {
	if z.Shots.Top < z.Capacity.Mean {
		return busyMs
	}
	return min(max(busyMs, int64(2*math.Exp(z.DrainLog.Mean)*1000)), quietMs)
}

// blockEnds learns the rate, the lift and, where no climate is told, the daily
// course from one block. A busy block, between two waterings, counts little,
// and not at all at a time of day at which a quiet one came lately.
func (z *Zone) blockEnds(c *Constants) {
	b := &z.Block
	fall, sd, ok := b.slope(z.Ticks.Noise, z.Ticks.grain())
	if !ok {
		return
	}
	mid := (b.FromMs + b.ToMs) / 2
	bin := binOf(mid)
	today := uint16(mid / dayMs)
	error2 := modelSD * modelSD
	if !b.Busy {
		z.Course.Quiet[bin] = today
		z.Rates.compareSoon(b.ShotMs, fall, sd)
	} else if z.Rates.holdSoon(b.ShotMs, fall, sd); today-z.Course.Quiet[bin] <= 3 {
		return
	} else {
		error2 = busySD * busySD
	}
	// A model of demand errs by so many mm, not by a share: hours that ask for
	// more say more of the day.
	usual := z.Course.mean() * float64(b.ToMs-b.FromMs) / 1000
	error2 *= math.Min(math.Max(usual/b.Last, 0.4), 4)
	rate := z.rateOf(c, mid)
	believed := math.Exp(rate.Mean+z.Rates.Lift) / z.Volume(c)
	if b.Busy {
		believed *= math.Exp(z.Rates.Soon.Mean)
	}
	relative, spread := fall/believed-1, sd/believed
	// Near the belief a ratio is unbiased where its logarithm is not; far
	// from it only the logarithm comes home.
	v := relative
	if rate.Var > 0.04 && fall > 2*sd {
		v = math.Log(fall / believed)
		spread = sd / fall
	}
	r := spread*spread + error2
	first := rate.Count == 0
	before := rate.Mean
	bent := z.Course.bend(z.Demands.ClimateMs != 0, b.FromMs, b.ToMs, v, r)
	v -= bent
	// The rate learns from all that the block says beyond it, the lift from
	// what is left beyond both.
	rate.take(rate.Mean+v+z.Rates.Lift, math.Sqrt(r+liftVar), &ratePace)
	v -= rate.Mean - before
	if other := z.Rates.other(rate); first && other.Count == 0 {
		other.Mean += rate.Mean - before
	}
	z.Rates.lift(v, r, float64(b.ToMs-b.FromMs)/1000)
}

var soonPace = pace{low: -0.7, high: 0.7, drift: 0.02, allowance: 0.024, known: 0.15, doubt: 0.2}

// holdSoon keeps the fall of a busy block until a quiet one follows it.
func (r *Rates) holdSoon(shotMs int64, fall, sd float64) {
	r.SoonShotMs, r.SoonFall, r.SoonSD = shotMs, float32(fall), float32(sd)
}

// compareSoon learns Soon where the first quiet block after a watering follows
// a busy one after the same.
func (r *Rates) compareSoon(shotMs int64, fall, sd float64) {
	if r.SoonShotMs == 0 || r.SoonShotMs != shotMs {
		return
	}
	r.SoonShotMs = 0
	soonFall, soonSD := float64(r.SoonFall), float64(r.SoonSD)
	if soonFall < 3*soonSD || fall < 3*sd {
		return
	}
	spread := math.Hypot(soonSD/soonFall, sd/fall)
	r.Soon.take(math.Log(soonFall/fall), math.Hypot(0.3, spread), &soonPace)
}

func (r *Rates) other(e *Estimate) *Estimate {
	if e == &r.Day {
		return &r.Night
	}
	return &r.Day
}

// liftVar is the variance of the lift over the days: a fifth of the uptake.
// Common practice, no source.
const liftVar = 0.04

// lift is the Kalman update of the lift, an AR(1) that fades with liftS.
func (r *Rates) lift(v, variance, seconds float64) {
	fade := math.Exp(-2 * seconds / liftS)
	p := r.LiftVar*fade + liftVar*(1-fade)
	if lim := 2 * math.Sqrt(p+variance); v > lim {
		v = lim
	} else if v < -lim {
		v = -lim
	}
	k := p / (p + variance)
	r.Lift = math.Min(math.Max(r.Lift+k*v, -0.7), 0.7)
	r.LiftVar = p * (1 - k)
}
