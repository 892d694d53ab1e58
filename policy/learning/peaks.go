package learning

import "math"

// Tick is one thinned water content.
type Tick struct {
	AtMs  int64
	Level float64
}

const tickCount = 8

// Ticks thins readings to at least tickMs apart, each the mean of what came
// in its time, and keeps the newest few.
type Ticks struct {
	SumLevel  float64
	SumMs     int64 // of times since SinceMs
	N         int32
	Len       int32
	SinceMs   int64 // first reading of the tick being gathered
	EndMs     int64 // end of the tick before
	Ring      [tickCount]Tick
	Noise     float64 // sd of one tick, m3/m3
	Fall      float64 // usual fall just now, m3/m3 per s
	Usual     float64 // usual rise of a watering, m3/m3, 0: none seen yet
	Waterings int32   // that taught it
}

// tickMs: probes report each 10 s to 15 min; a shot shows within 5 to 10 min.
const tickMs = 150 * 1000

func (t *Ticks) add(at int64, w float64) (int64, float64, bool) {
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

// back returns the n-th newest tick, 0 the newest.
func (t *Ticks) back(n int32) (Tick, bool) {
	if n >= t.Len {
		return Tick{}, false
	}
	return t.Ring[n], true
}

func (t *Ticks) last() (Tick, bool) { return t.back(0) }

// push makes (at, w) the newest tick and learns noise and fall from it.
func (t *Ticks) push(at int64, w float64) {
	if t.Len >= 2 {
		a, b := t.Ring[1], t.Ring[0]
		d1, d2 := float64(b.AtMs-a.AtMs), float64(at-b.AtMs)
		// Second difference of an uneven pair; its sd for white noise is
		// sigma*sqrt(1 + (1+q)^2 + q^2), q = d2/d1; E|x| = 0.798 sd.
		q := d2 / d1
		dd := w - b.Level - (b.Level-a.Level)*q
		size := math.Abs(dd) / (0.798 * math.Sqrt(1+(1+q)*(1+q)+q*q))
		if t.Noise == 0 {
			t.Noise = firstNoise
		}
		// Clipped, so that waterings, one tick in ten, count little.
		t.Noise += 0.03 * (math.Min(size, 3*t.Noise) - t.Noise)
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

func (t *Ticks) forget() { t.Len, t.Fall = 0, 0 }

// ShotState follows one watering from the report or the first rise to the end
// of its drainage.
type ShotState struct {
	ReportMs   int64   // newest report of a watering, 0: none
	ReportML   float64 // reported volume of it that has not shown yet
	ComingML   float64 // reported water that has still to come in
	OpenMs     int64   // valve open since, 0: closed
	OpenFlow   float64 // mL/s
	StartMs    int64   // of the watering being followed, 0: none
	Before     float64 // water content before it
	Top        float64 // highest since
	TopMs      int64
	After10    float64 // first water content 10 min after the top, 0: not yet
	After10Ms  int64   // when that was
	SeenMs     int64   // when the rise showed, 0: not yet
	GivenML    float64 // reported, since StartMs
	Known      bool    // GivenML is all of it
	Rising     bool
	ReportedAt int64 // newest volume report, to know a zone whose waterings are reported
	LastMs     int64 // start of the newest watering of all
	LastPeak   float64
	DayFirstMs int64 // first shot of the irrigation day
	// A small rise waits for the next tick to confirm it.
	MaybeMs     int64 // when it began, 0: none waits
	MaybeBefore float64
	MaybeTop    float64
}

const (
	matchMs = 30 * minuteMs // a report and a rise this close are one watering
	earlyMs = 10 * minuteMs // a rise may come this much before its report
	riseMs  = 16 * minuteMs // a rise is looked for over so long
	// leastRise is the smallest rise taken for a watering, m3/m3: some four
	// times the resolution of common probes. Common practice, no source.
	leastRise = 0.0034
	// rawShare of the threshold must be rise in itself, not a fall that ended.
	// fallShare of the usual fall goes on while a watering begins to show.
	fallShare = 0.7
	fallS     = 1800.0
	// firstNoise is believed of a probe until it has shown its own.
	firstNoise = 0.002
	keepShare  = 0.3
	rawShare   = 0.9
)

// threshold is the rise over the expected course that counts as a watering:
// four times the noise, or a fifth of the usual rise where that is less,
// but no less than 2.5 times the noise. Where waterings stand far above the
// noise nothing small is taken for one; where they do not, more is risked.
func (t *Ticks) threshold() float64 {
	k := 4 * t.Noise
	if t.Waterings >= 3 {
		k = math.Min(k, 0.2*t.Usual)
	}
	return math.Max(leastRise, math.Max(k, 2.5*t.Noise))
}

// watered learns the usual rise of a watering from one that is no noise.
func (t *Ticks) watered(rise float64) {
	switch {
	case rise < 5*t.Noise:
		return
	case t.Usual == 0:
		t.Usual = rise
	default:
		t.Usual += 0.1 * (math.Min(rise, 3*t.Usual) - t.Usual)
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

// Zigzag finds peaks and troughs: a peak counts once the water content has
// fallen by the reversal from it, a trough once it has risen by as much.
type Zigzag struct {
	HighMs, LowMs int64
	High, Low     float64
	Peak          float64 // last one passed, 0: none
	PeakMs        int64
	Trough        float64
	TroughMs      int64
	LastDepth     float64 // of the last completed dryback
	LastShare     float64
	LastOvernight float64
	Down          bool // looking for a trough
	Started       bool
}

func (g *Zigzag) begin(at int64, w float64) {
	g.HighMs, g.LowMs, g.High, g.Low, g.Started = at, at, w, w, true
	g.Peak, g.PeakMs, g.Down = 0, 0, false
}

func (g *Zigzag) watch(at int64, w, reversal float64, ev *Events) {
	if !g.Started {
		g.begin(at, w)
		return
	}
	if w > g.High {
		g.High, g.HighMs = w, at
	}
	if w < g.Low {
		g.Low, g.LowMs = w, at
	}
	if !g.Down && g.High-w >= reversal {
		g.Down = true
		g.Peak, g.PeakMs = g.High, g.HighMs
		g.Low, g.LowMs = w, at
		ev.Peak, ev.PeakAtMs = g.Peak, g.PeakMs
	} else if g.Down && w-g.Low >= reversal {
		g.Down = false
		g.Trough, g.TroughMs = g.Low, g.LowMs
		g.High, g.HighMs = w, at
		ev.Trough, ev.TroughAtMs = g.Trough, g.TroughMs
		if g.Peak > 0 {
			g.LastDepth = g.Peak - g.Trough
			g.LastShare = g.LastDepth / g.Peak
			ev.Dryback, ev.DrybackShare = g.LastDepth, g.LastShare
		}
	}
}

// Running is how far the water content has fallen since the last peak, m3/m3.
func (g *Zigzag) Running(level float64) float64 {
	if !g.Started {
		return 0
	}
	from := g.High
	if g.Down {
		from = g.Peak
	}
	return math.Max(0, from-level)
}

// reversal is the least turn that makes a peak or a trough, m3/m3: below it is
// the saw of single small shots, which is no dryback to a grower. Common
// practice, no source.
func (z *Zone) reversal() float64 { return math.Max(0.008, 6*z.Ticks.Noise) }
