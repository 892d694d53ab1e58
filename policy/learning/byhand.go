package learning

import "math"

// guesses is how many waterings that nobody reported are remembered: people tell of
// the day's, and by hand a pot is watered once or twice (common practice, no source).
const guesses = 6

// Guess is a watering that nobody had reported when it was over, and what its rise said
// that it was.
type Guess struct {
	FromMs, TopMs int64 // 0: none
	ML            float32
}

// NearMs is how far from the time that a person tells a watering may have shown: people
// round, and remember the round and not the pot (common practice, no source).
const NearMs = hourMs

// ByHand takes that somebody says at atMs to have given volumeML by hand at whenMs, at
// most a day before. What is told at about the time is water that may still come in, as
// Water takes it. What has come in already is not new: a rise that was taken for a
// watering nobody reported was this one, and what it was guessed to be gives way to
// what it was; without one the water is booked for its time, and the level stays what
// the probes show.
func (z *Zone) ByHand(c *Constants, whenMs, atMs int64, volumeML float64) {
	z.Advance(c, atMs)
	whenMs = min(whenMs, z.AtMs)
	s := &z.Shots
	switch guess := z.guess(whenMs); {
	case z.AtMs-whenMs < matchMs:
		z.Water(c, whenMs, volumeML, true)
	case s.StartMs != 0 && s.SeenMs != 0 && !s.Known && s.GivenML == 0 && near(whenMs, s.StartMs, s.TopMs):
		s.ReportedAt = max(s.ReportedAt, whenMs)
		s.Known, s.ReportMs = true, whenMs
		z.climbed(c, volumeML, true)
		s.GivenML += volumeML
		z.Open.GivenML += volumeML
		z.Account.GivenML += volumeML
		z.Account.giveAt(whenMs, volumeML)
		z.History.water(whenMs, volumeML)
	default:
		s.ReportedAt = max(s.ReportedAt, whenMs)
		more, booked := volumeML, whenMs
		if guess != nil {
			more, booked = volumeML-float64(guess.ML), guess.TopMs
			*guess = Guess{}
		}
		if whenMs >= z.Open.FromMs {
			z.Open.GivenML = math.Max(0, z.Open.GivenML+more)
		}
		z.Account.giveAt(booked, more)
		z.Account.MissedML += more
		z.History.water(booked, more)
	}
}

// near tells whether a time that a person tells is that of a rise.
func near(whenMs, fromMs, topMs int64) bool {
	return whenMs >= fromMs-NearMs && whenMs <= topMs+NearMs
}

// guessed remembers a watering that ended unreported.
func (z *Zone) guessed(fromMs, topMs int64, ml float64) {
	copy(z.Guesses[1:], z.Guesses[:])
	z.Guesses[0] = Guess{fromMs, topMs, float32(ml)}
}

// guess is the watering that a person may tell of with a time, the nearest where there
// are several; nil where there is none.
func (z *Zone) guess(whenMs int64) *Guess {
	var found *Guess
	least := int64(math.MaxInt64)
	for i := range z.Guesses {
		g := &z.Guesses[i]
		if g.FromMs == 0 || z.AtMs-g.TopMs > dayMs || !near(whenMs, g.FromMs, g.TopMs) {
			continue
		}
		off := max(g.FromMs-whenMs, whenMs-g.TopMs, 0)
		if off < least {
			found, least = g, off
		}
	}
	return found
}

// giveAt books water of an hour of the last day; below 0 it takes back what was guessed
// of it.
func (a *Account) giveAt(whenMs int64, ml float64) {
	if back := (a.HourMs - (whenMs - mod(whenMs, hourMs))) / hourMs; back >= 0 && back < accountHours {
		i := mod(int64(a.Head)-back, accountHours)
		a.Irrigation[i] = max(a.Irrigation[i]+float32(ml), 0)
	}
	a.Totals.IrrigationML += ml
}
