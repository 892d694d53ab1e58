package learning

import "math"

// guesses is how many waterings that nobody reported are remembered: people tell of
// the day's, and by hand a pot is watered once or twice (common practice, no source).
const guesses = 6

// Guess is a watering that nobody had reported when it was over, and what its rise said
// that it was.
type Guess struct {
	Minute uint32 // when its rise began, minutes since 1970; 0: none
	Took   uint16 // from there to its top, min
	ML     float32
}

func (g *Guess) span() (fromMs, topMs int64) {
	fromMs = int64(g.Minute) * minuteMs
	return fromMs, fromMs + int64(g.Took)*minuteMs
}

// NearMs is how far from the time that a person tells a watering may have shown: people
// round, and remember the round and not the pot (common practice, no source).
const NearMs = hourMs

// ByHand takes that somebody says at atMs to have given volumeML by hand at whenMs, at
// most a day before. What is told at about the time is water that may still come in, as
// Water takes it, unless a rise explains it: people tell without a time, too, once they
// are done. What has come in already is not new: a rise that was taken for a watering
// nobody reported was this one, and what it was guessed to be gives way to what it was;
// without one the water is booked for its time, and the level stays what the probes show.
func (z *Zone) ByHand(c *Constants, whenMs, atMs int64, volumeML float64) {
	z.Advance(c, atMs)
	whenMs = min(whenMs, z.AtMs)
	s := &z.Shots
	shows := s.StartMs != 0 && s.SeenMs != 0 && !s.Known && s.GivenML == 0 && near(whenMs, s.StartMs, s.TopMs)
	mayCome := z.AtMs-whenMs < matchMs
	switch guess := z.guess(whenMs); {
	case mayCome && shows && whenMs-s.StartMs < matchMs, mayCome && !shows && guess == nil:
		z.Water(c, whenMs, volumeML, true)
	case shows:
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
			more = volumeML - float64(guess.ML)
			_, booked = guess.span()
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
	minute := fromMs / minuteMs
	z.Guesses[0] = Guess{uint32(minute), uint16(min(max(topMs/minuteMs-minute, 0), math.MaxUint16)), float32(ml)}
}

// guess is the watering that a person may tell of with a time, the nearest where there
// are several; nil where there is none.
func (z *Zone) guess(whenMs int64) *Guess {
	var found *Guess
	least := int64(math.MaxInt64)
	for i := range z.Guesses {
		g := &z.Guesses[i]
		fromMs, topMs := g.span()
		if g.Minute == 0 || z.AtMs-topMs > dayMs || !near(whenMs, fromMs, topMs) {
			continue
		}
		off := max(fromMs-whenMs, whenMs-topMs, 0)
		if off < least {
			found, least = g, off
		}
	}
	return found
}

// giveAt books water of an hour of the last day; below 0 it takes back what was guessed
// of it.
func (a *Account) giveAt(whenMs int64, ml float64) {
	a.roll(whenMs)
	if back := (a.HourMs - (whenMs - mod(whenMs, hourMs))) / hourMs; back >= 0 && back < accountHours {
		i := mod(int64(a.Head)-back, accountHours)
		a.Irrigation[i] = max(a.Irrigation[i]+float32(ml), 0)
	}
	a.Totals.IrrigationML += ml
}
