package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// Others is what the other probes of a zone did while one has said the very same, as this one
// would show it. The balance only has it that water came and was drunk; beside others it is
// seen. Where they stood still too, it was the balance that erred: dry substrate let the shot
// run past, or a container was fuller than was thought. Where they rose and fell again by more
// than a step of this one, a sound probe would have changed with one or the other: with the
// rise, where its container got its water, and with the fall, where it got none.
type Others struct {
	Level     int16 // in levelStep, from where it was
	Low, High int16 // the ends of its way
	Turn      int16 // its highest since the last fall that counts, or lowest since the last such rise
	Rises     uint8 // of a leg and more
	Falls     uint8
	Falling   bool // the newest of them was a fall
	Known     bool
}

// legSteps of a coarse probe are what it cannot miss, and leastLeg is the same of one that is
// not coarse: well beyond noise, m3/m3 (common practice, no source).
const legSteps, leastLeg = 1.5, 0.012

// take lets the others go by so many m3/m3, of which this probe shows a share.
func (o *Others) take(change, share, step float32) {
	o.Known = true
	o.Level = steps(float64(o.Level)*levelStep + float64(change*share))
	o.Low, o.High = min(o.Low, o.Level), max(o.High, o.Level)
	leg, settled := steps(max(leastLeg, legSteps*float64(step))), o.Rises > 0 || o.Falls > 0
	low, high := o.Low, o.High
	if settled && o.Falling {
		o.Turn = min(o.Turn, o.Level)
		low = o.Turn
	} else if settled {
		o.Turn = max(o.Turn, o.Level)
		high = o.Turn
	}
	switch {
	case (!settled || o.Falling) && o.Level-low >= leg:
		o.Rises, o.Falling, o.Turn = min(o.Rises+1, 250), false, o.Level
	case (!settled || !o.Falling) && high-o.Level >= leg:
		o.Falls, o.Falling, o.Turn = min(o.Falls+1, 250), true, o.Level
	}
}

// steps is a level in levelStep, as far as that goes.
func steps(x float64) int16 {
	return int16(math.Round(min(max(x/levelStep, -math.MaxInt16/2), math.MaxInt16/2)))
}

// moved tells that they went so far, or are not there to tell.
func (o *Others) moved(way float32) bool { return !o.Known || float32(o.High-o.Low)*levelStep >= way }

// changes are by how much each probe that is well changed with this look, m3/m3.
type changes struct {
	of    [sensing.MaxProbes]float32
	known [sensing.MaxProbes]bool
	sum   float32
	n     int
}

func (f *Fast) changes(in *Inputs) (c changes) {
	for i := range in.Probes[:in.ProbeCount] {
		p, s := &in.Probes[i], f.Recently.Still.At(i)
		if !p.Heard || !p.Health.Usable() || s.Value == 0 {
			continue
		}
		if uint32(p.AtMs/1000) > s.AtS {
			c.of[i] = float32(p.Mean) - s.newest()
		}
		c.known[i] = true
		c.sum += c.of[i]
		c.n++
	}
	return c
}

// others is the mean change of all but one probe, false where there are none.
func (c *changes) others(i int) (float32, bool) {
	sum, n := c.sum, c.n
	if c.known[i] {
		sum, n = sum-c.of[i], n-1
	}
	return sum / float32(max(n, 1)), n > 0
}

// share is the share of what the others rise by that this probe shows, 1 where that is not
// known: one deep in a pot rises by less.
func (w *ProbeWatch) share() float32 {
	if w.Rounds < leastShots {
		return 1
	}
	return min(max(w.Usual, 0.3), 1)
}
