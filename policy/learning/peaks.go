package learning

import "math"

// ShotState follows one watering from the report or the first rise to the end
// of its drainage.
type ShotState struct {
	ReportMs   int64   // newest report of a watering, 0: none
	ComingML   float64 // reported water that has still to come in
	VolumeMs   int64   // newest volume reported as such
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
	Faint      uint8 // looks, since the newest report, at rises that were not plain enough for one that is not; each day halves it
	ReportedAt int64 // newest volume report, to know a zone whose waterings are reported
	LastMs     int64 // start of the newest watering of all
	LastPeak   float64
	LastHeld   float64 // what the balance makes of that peak: a probe near the emitter overshoots
	DayFirstMs int64   // first shot of the irrigation day
	// A small rise waits for the next tick to confirm it.
	MaybeMs     int64 // when it began, 0: none waits
	MaybeBefore float64
	MaybeTop    float64
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
