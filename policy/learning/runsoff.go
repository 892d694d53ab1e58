package learning

// runsOff takes hours of water of which nothing stays for a sight of the capacity: a
// container whose water content no longer rises, while far more is given than is
// drunk, is full, whatever it was thought to hold. Without this a zone whose capacity
// is believed too high is watered towards a trigger that it cannot reach, until the
// day's volume is used up.
//
// It asks for a level near what the physics makes of the container: water runs past a
// substrate that is dry, too, and that must go on being watered. And for water that has
// come, in the rise of the newest shot, and a level that stands: behind a blocked emitter
// neither is so.
func (z *Zone) runsOff(c *Constants, at int64, w float64) {
	from := at - runsOffMs
	if !z.Reports() || at-z.CaughtMs < hourMs || w > z.Capacity.Mean-0.005 || w < c.DesignCapacity-2.5*designSD {
		return
	}
	then, ok := z.History.LevelAt(from)
	if !ok || w > then+2*z.Ticks.Noise || z.History.broken(from, at) || z.notFull(from, at) {
		return
	}
	given, drunk := z.History.GivenBetween(from, at), z.drunkSince(from)
	if given < leastRunsOff*c.VolumeML || drunk+z.Volume(c)*(w-then) > staysAtMost*z.Capture.Mean*given {
		return
	}
	s := &z.Shots
	if s.Top-s.Before < leastCame*z.Capture.Mean*s.GivenML/z.Volume(c) || w < then-2*z.Ticks.Noise-mostFalls*drunk/z.Volume(c) {
		return
	}
	z.CaughtMs, z.OverfullMs = at, at
	p := z.capacityBounds(c)
	z.Capacity.take(w, 0.02, &p)
}

const (
	// runsOffMs is how long water must have run off: hours, in which it has come down to
	// every probe (common practice, no source).
	runsOffMs = 2 * hourMs
	// leastRunsOff is the water that tells, as a share of the container's volume, and
	// staysAtMost what may stay of it or be drunk, as a share of what stays where there
	// is room (common practice, no source).
	leastRunsOff = 0.04
	staysAtMost  = 0.5
	// leastCame is the least part of a shot that a probe must show at first for it to have
	// come, and mostFalls the most of what is drunk by which a level that stands may fall
	// (common practice, no source).
	leastCame = 0.4
	mostFalls = 0.3
)

// drunkSince is the uptake booked from from on, to the hour, and what is believed of
// the stretch that is open, mL.
func (z *Zone) drunkSince(from int64) float64 {
	a, sum := &z.Account, z.Open.ModelML
	for back := range int64(accountHours) {
		if a.HourMs-back*hourMs < from-hourMs/2 {
			break
		}
		sum += float64(a.Uptake[mod(int64(a.Head)-back, accountHours)])
	}
	return sum
}
