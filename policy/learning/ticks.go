package learning

import (
	"math"

	"rhizostat/policy/sensing"
)

// Tick is one thinned water content.
type Tick struct {
	AtMs  int64
	Level float64
}

// tickCount ticks hold the longest rise that is looked for.
const tickCount = 7

// Ticks thins readings to at least tickMs apart, each the mean of what came
// in its time, and keeps the newest few.
type Ticks struct {
	SumLevel float64
	SumMs    int64 // of times since SinceMs
	N        int32
	Len      int32
	SinceMs  int64 // first reading of the tick being gathered
	EndMs    int64 // end of the tick before
	Ring     [tickCount]Tick
	Noise    float64 // sd of one tick, m3/m3
	Raw      float64 // newest reading
	// Resolution is the smallest step between two readings that differ, m3/m3:
	// that of the probe where it is coarse, next to nothing where it is fine.
	Resolution float64
	Fall       float64 // usual fall just now, m3/m3 per s
	Usual      float64 // rise that nine in ten waterings exceed, m3/m3, 0: none seen yet
	Waterings  int32   // that taught it
	Told       bool    // they were reported
	Rhythm     sensing.Rhythm
}

// tickMs: probes report each 10 s to 15 min; a shot shows within 5 to 10 min.
const tickMs = 150 * 1000

// add takes a reading and returns the tick that it completes, if any.
func (t *Ticks) add(at int64, w float64) (int64, float64, bool) {
	t.resolve(w)
	if t.N == 0 {
		t.SinceMs = at
	}
	t.N++
	t.SumLevel += w
	t.SumMs += at - t.SinceMs
	if t.EndMs != 0 && at-t.EndMs < tickMs {
		return 0, 0, false
	}
	n := int64(t.N)
	mid, mean := t.SinceMs+t.SumMs/n, t.SumLevel/float64(n)
	t.N, t.SumLevel, t.SumMs, t.EndMs = 0, 0, 0, at
	return mid, mean, true
}

// resolve follows the smallest step between readings.
func (t *Ticks) resolve(w float64) {
	step := math.Abs(w - t.Raw)
	if t.Raw != 0 && step > 1e-5 {
		if t.Resolution == 0 || step < t.Resolution {
			t.Resolution = step
		} else {
			t.Resolution *= 1.002 // forget a finer probe in some hundred steps
		}
	}
	t.Raw = w
}

// grain is the standard deviation that the resolution alone makes, m3/m3:
// that of a uniform error.
func (t *Ticks) grain() float64 { return t.Resolution / math.Sqrt(12) }

// spread is the standard deviation of one tick, its grain included.
func (t *Ticks) spread() float64 { return math.Max(t.Noise, t.grain()) }

// back returns the n-th newest tick, 0 the newest.
func (t *Ticks) back(n int32) (Tick, bool) {
	if n >= t.Len {
		return Tick{}, false
	}
	return t.Ring[n], true
}

// last returns the newest tick.
func (t *Ticks) last() (Tick, bool) { return t.back(0) }

// leastGapMs and mostGapMs bound the longest time between two water contents that are
// still one course, three of the zone's usual intervals; behind it nothing is concluded
// from their difference. Common practice, no source: three of 15 min, a usual rhythm that is
// slow, and as long as a shot and its drainage may be over unseen.
const leastGapMs, mostGapMs = 45 * minuteMs, 200 * minuteMs

// gap reports whether a tick at an instant begins another course than the newest one's,
// and learns how often ticks come.
func (t *Ticks) gap(at int64) bool {
	last, any := t.last()
	if !any {
		return false
	}
	silence := at - last.AtMs
	t.Rhythm.Learn(silence)
	return silence > min(max(int64(3000*t.Rhythm.UsualS), leastGapMs), mostGapMs)
}

// push makes (at, w) the newest tick and learns noise and fall from it.
func (t *Ticks) push(at int64, w float64) {
	if b, a, ok := t.apart(at); ok {
		d1, d2 := float64(b.AtMs-a.AtMs), float64(at-b.AtMs)
		// Second difference of an uneven pair; its sd for white noise is
		// sigma*sqrt(1 + (1+q)^2 + q^2), q = d2/d1; E|x| = 0.798 sd.
		q := d2 / d1
		dd := w - b.Level - (b.Level-a.Level)*q
		size := math.Abs(dd) / (0.798 * math.Sqrt(1+(1+q)*(1+q)+q*q))
		if t.Noise == 0 {
			t.Noise = firstNoise
		}
		// Clipped, so that waterings, one tick in ten, count little; over some
		// ten hours of five minutes, or its own noise makes it flutter.
		t.Noise += 0.008 * (math.Min(size, 3*t.Noise) - t.Noise)
		t.Noise = math.Min(math.Max(t.Noise, 0.0002), 0.01)
	}
	if t.Len >= 1 {
		dt := float64(at-t.Ring[0].AtMs) / 1000
		if dt > 0 {
			// Rises count as noise at most, so that a watering does not hide
			// the fall that goes on under it.
			f := math.Max(t.Ring[0].Level-w, -2*t.Noise) / dt
			t.Fall += (1 - math.Exp(-dt/fallS)) * (f - t.Fall)
		}
	}
	copy(t.Ring[1:], t.Ring[:tickCount-1])
	t.Ring[0] = Tick{at, w}
	t.Len = min(t.Len+1, tickCount)
}

// apart returns the two newest ticks that are a noise lag from at and from each
// other. Where several probes report in turn, neighbouring ticks share most of
// their readings and differ by too little.
func (t *Ticks) apart(at int64) (b, a Tick, ok bool) {
	for i := range t.Len {
		switch r := t.Ring[i]; {
		case b.AtMs == 0 && at-r.AtMs >= noiseLagMs:
			b = r
		case b.AtMs != 0 && b.AtMs-r.AtMs >= noiseLagMs:
			return b, r, true
		}
	}
	return b, a, false
}

// noiseLagMs is a usual rhythm of probes less some jitter.
const noiseLagMs = 285 * 1000

// forget drops the ticks, the one being gathered among them, and keeps what they taught.
func (t *Ticks) forget() {
	t.Len, t.Fall = 0, 0
	t.SumLevel, t.SumMs, t.N = 0, 0, 0
}

// How a watering shows. The shares were chosen on zone a of the measured slabs
// (Hemming et al. 2020) and on pots of other noise and rhythm in the tests.
const (
	matchMs = 30 * minuteMs // a report and a rise this close are one watering
	earlyMs = 10 * minuteMs // a rise may come this much before its report
	riseMs  = 16 * minuteMs // a rise is looked for over so long

	// leastRise is the smallest rise taken for a watering, m3/m3: some four
	// times the resolution of common probes. Common practice, no source.
	leastRise = 0.0034
	// rawShare of the threshold must be rise in itself, not a fall that ended.
	rawShare = 0.9
	// keepShare of a small rise, and once the noise, must still be there at
	// the next tick.
	keepShare = 0.3
	// fallShare of the usual fall goes on while a watering begins to show.
	fallShare = 0.7
	// fallS is the time over which the usual fall is followed, s.
	fallS = 1800.0
	// firstNoise is believed of a probe until it has shown its own, m3/m3.
	firstNoise = 0.002
)

// threshold is the rise over the expected course that counts as a watering:
// four times the noise, or nearly half of what nine in ten waterings rise by where that
// is less, but no less than 2.5 times the noise. Where waterings stand far above
// the noise nothing small is taken for one; where they do not, more is risked.
// One step of a coarse probe, back and forth, is none.
func (t *Ticks) threshold() float64 {
	k := 4 * t.Noise
	if t.Waterings >= 3 {
		k = math.Min(k, 0.45*t.Usual)
	}
	return max(leastRise, k, 2.5*t.Noise, 1.5*t.Resolution)
}

// watered learns the least usual rise from a watering that is no noise: a
// quantile followed by steps down nine times as long as those up. What rises were before any
// was reported is forgotten once some are: they may have been noise.
func (t *Ticks) watered(rise float64, told bool) {
	if rise < 5*t.Noise {
		return
	}
	if told != t.Told {
		t.Usual, t.Waterings, t.Told = 0, 0, told
	}
	switch {
	case t.Usual == 0:
		t.Usual = 0.7 * rise
	case rise < t.Usual:
		t.Usual *= math.Exp(-0.18)
	default:
		t.Usual *= math.Exp(0.02)
	}
	t.Waterings = min(t.Waterings+1, 1000)
}

// rise looks for a rise that ends at (at, w) and returns the tick it began at.
// No rise begins before since. It is measured from the usual fall drawn on from
// that tick, and from the mean of the three ticks up to it: the lowest of
// several noisy ticks alone would be too low a start.
func (t *Ticks) rise(at int64, w float64, since int64) (Tick, bool) {
	var from Tick
	fall := math.Max(0, t.Fall)
	best, index := 0.0, int32(-1)
	for i := int32(0); i < t.Len; i++ {
		r := t.Ring[i]
		if dt := at - r.AtMs; i > 0 && dt > riseMs || r.AtMs < since {
			break
		}
		up := w - r.Level + fallShare*fall*float64(at-r.AtMs)/1000
		if up > best {
			best, from, index = up, r, i
		}
	}
	if best <= t.threshold() {
		return from, false
	}
	sum, n := 0.0, 0.0
	for i := index; i < min(index+3, t.Len) && (i == index || t.Ring[i].AtMs >= since && from.AtMs-t.Ring[i].AtMs <= riseMs); i++ {
		sum += t.Ring[i].Level - fallShare*fall*float64(from.AtMs-t.Ring[i].AtMs)/1000
		n++
	}
	base := math.Max(sum/n, from.Level)
	return from, w-base > rawShare*t.threshold()
}
