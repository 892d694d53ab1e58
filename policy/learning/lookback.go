package learning

import "math"

// lookMs is how far the balance looks back to see whether it closes.
const lookMs = dayMs

// lookEveryMs is how often it does.
const lookEveryMs = 6 * hourMs

// looksADay is the root of how many looks share one day: together they say of the
// gain, which does not change from look to look, what one look says.
const looksADay = 2

// lookBack runs the balance over the last day with the water that was given and
// the uptake that was booked, from the water content of then, and learns
// capture and capacity from where it ends up against where the zone is: what a
// forecast of a day under known water would have got wrong. One step of an
// extended Kalman filter over (capture, capacity); the slope for the capacity is
// taken over its own uncertainty, so that a capacity believed too high to matter
// is found out. The gain learns with them on days of little drain only: where much
// drains, what is missing and a small gain look alike, and the gain would be drawn
// down by all that drains.
func (z *Zone) lookBack(c *Constants, now int64) {
	z.watchGauge()
	from := now - lookMs
	then, ok := z.History.LevelAt(from)
	if !ok || z.SeenMs == 0 || now-z.SeenMs > 30*minuteMs || z.History.broken(from, now) {
		return
	}
	given := z.History.GivenBetween(from, now)
	if given < 0.01*c.VolumeML || !z.Reports() && z.Shots.StartMs != 0 {
		return
	}
	uptake := z.booked24h().UptakeML
	const dc = 0.05
	dk := math.Max(0.02, 2*z.Capacity.SD())
	end := z.closes(c, from, then, z.Capture.Mean, z.Capacity.Mean)
	byCapture := (end - z.closes(c, from, then, z.Capture.Mean-dc, z.Capacity.Mean)) / dc
	byCapacity := (end - z.closes(c, from, then, z.Capture.Mean, z.Capacity.Mean-dk)) / dk
	sd := math.Sqrt(sq(0.006) + sq(0.1*uptake/c.VolumeML) + sq(0.05*given/c.VolumeML))
	innovation := z.Shown() - end
	switch missing := -innovation * z.Volume(c); {
	case innovation < 0 && z.notFull(from, now):
		byCapacity = 0
	case missing > mustDrain*given:
		z.OverfullMs = now
	case innovation < 0 && !z.overfull(now, given):
		byCapacity = 0
	}
	byGain := 0.0
	if z.Reports() && z.booked24h().DrainML < mustDrain*given && -innovation*z.Volume(c) < mustDrain*given {
		byGain = byCapture * z.Capture.Mean / z.Gain.Mean
	}
	variance := sq(byCapture)*z.Capture.Var + sq(byGain)*z.Gain.Var + sq(byCapacity)*z.Capacity.Var + sd*sd
	lim := 2 * math.Sqrt(variance)
	innovation = math.Min(math.Max(innovation, -lim), lim)
	p := z.capacityBounds(c)
	z.Capture.share(byCapture, innovation, variance, &capturePace)
	z.Capacity.share(byCapacity, innovation, variance, &p)
	before := z.Gain.Mean
	z.Gain.share(byGain, innovation, variance+(sq(looksADay)-1)*sd*sd, &gainPace)
	z.gained(before)
	if z.Reports() {
		z.byDrain(c, then, uptake, given)
	}
}

// overfull tells whether the last two days have shown that the container was
// filled over its capacity: a plateau after drainage, drain that was caught or that
// the balance needs, or a day's water of which too much is missing. Without that a day that ends drier
// than the balance says is the uptake's or the capture's: blamed on the capacity
// it would sink, the plans with it, and nothing would ever fill the container
// again to tell otherwise.
func (z *Zone) overfull(now int64, given float64) bool {
	drained := 0.0
	for _, ml := range z.Account.Drain {
		drained += float64(ml)
	}
	if drained > (1-z.Capture.Mean+drainShows)*given { // by a balance that has closed
		z.OverfullMs = now
	}
	if z.Account.DrainMs != 0 && now-z.Account.DrainMs < dayMs && z.booked24h().ReportedDrainML > drainShows*given {
		z.OverfullMs = now
	}
	return z.OverfullMs != 0 && now-z.OverfullMs < 2*dayMs
}

// mustDrain is the share of a day's water whose absence no error of uptake and
// capture explains (common practice, no source: either is known to a tenth).
const mustDrain = 0.2

// drainShows is the share of a day's water that must be caught as drain to say
// that the container was full: less may run past it (common practice, no source).
const drainShows = 0.08

// recall pulls the capacity back towards what the physics makes of the
// container, as one sight of it a day, vague by designSD, once nothing has spoken
// of it for a while: then that is the better guess, and a wrong one fades in two
// weeks.
func (z *Zone) recall(c *Constants, now int64) {
	if now-z.OverfullMs < 2*dayMs {
		return
	}
	gain := z.Capacity.Var / (z.Capacity.Var + sq(designSD))
	z.Capacity.Mean += gain * (c.DesignCapacity - z.Capacity.Mean)
	z.Capacity.Var *= 1 - gain
}

// designSD is how far a container's capacity lies from that of its site file's
// curve and shape, m3/m3: mixes of one name differ by so much (Evans, Konduru &
// Stamps 1996 give coir 0.73 to 0.80).
const designSD = 0.05

// closes runs the balance of a day in quarter hours from (from, level) with the
// water given and the uptake booked, and returns where it ends.
func (z *Zone) closes(c *Constants, from int64, level, capture, capacity float64) float64 {
	a, volume := &z.Account, z.Volume(c)
	stay := math.Exp(-float64(HistoryBin) / 1000 / math.Exp(z.DrainLog.Mean))
	for at := from; at < from+lookMs; at += HistoryBin {
		level += capture * z.History.GivenBetween(at, at+HistoryBin) / volume
		if over := level - capacity; over > 0 {
			level = math.Min(capacity+over*stay, c.MaxMean)
		}
		hour := at - mod(at, hourMs)
		if back := (a.HourMs - hour) / hourMs; back >= 0 && back < accountHours {
			i := mod(int64(a.Head)-back, accountHours)
			level -= float64(a.Uptake[i]) / 4 / volume
		}
	}
	return level
}

// share takes an estimate's part in an innovation that several estimates made:
// slope is how the observation changes with this one.
func (e *Estimate) share(slope, innovation, variance float64, p *pace) {
	k := e.Var * slope / variance
	e.Mean = math.Min(math.Max(e.Mean+e.bounded(k*innovation, p), p.low), p.high)
	e.Var *= 1 - k*slope
	e.Count++
}

// capacityBounds is the pace of the capacity within what this container can
// hold, and has held.
func (z *Zone) capacityBounds(c *Constants) pace {
	p := capacityPace
	p.low = math.Max(0.6*c.DesignCapacity, math.Min(z.Rested.Held-restedMargin, z.Capacity.Mean))
	p.high = math.Max(p.low, c.MaxMean)
	return p
}

func sq(x float64) float64 { return x * x }
