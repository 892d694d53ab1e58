package diagnose

import "math"

// Gauge is a drain gauge beside a stretch of waterings. What is found of water in a container
// does not say where the rest went. A gauge does: water that runs along the wall, or that
// roots leave no room for, drains; water that does not come, does not.
type Gauge struct {
	FromML float32 // drain reported since the zone was first seen, at the stretch's begin; below 0: nobody told
}

const (
	// gaugeWindows of a kind make a share that usually drains, and gaugeWorks is the least
	// of it by which a gauge is known to catch what drains.
	gaugeWindows = uint16(4)
	gaugeWorks   = 0.02
	// gaugeSpread is how far the drain of a stretch strays from the usual share: some is still
	// on its way, or is the drain of the watering before. This and those above: common
	// practice, no source.
	gaugeSpread = 0.1
)

func (g *Gauge) begin(in *Inputs) {
	g.FromML = -1
	if in.Water.DrainHeard {
		g.FromML = float32(in.Water.DrainedML)
	}
}

// share is the share of the water given, mL, that drained; false where nobody told.
func (g *Gauge) share(given float64, in *Inputs) (float64, bool) {
	if g.FromML < 0 || !in.Water.DrainHeard || !(given > 0) {
		return 0, false
	}
	return math.Min(math.Max(in.Water.DrainedML-float64(g.FromML), 0)/given, 1), true
}

// learn takes a stretch of a zone that is well into the share that usually drains of its kind,
// of which so many were seen.
func (g *Gauge) learn(usual *float32, given float64, windows uint16, in *Inputs) {
	if x, ok := g.share(given, in); ok {
		*usual += float32(math.Max(1/float64(windows+1), 0.05)) * (float32(x) - *usual)
	}
}

// tell bounds what is said of a share that is not found, by where it went: as far as more
// drained than usual it has come, and accuses nothing by which water does not come; and where
// a gauge that works tells of no more drain than usual, none ran past.
func (g *Gauge) tell(w *weights, usual float32, given float64, in *Inputs) {
	x, ok := g.share(given, in)
	if !ok || w.e >= 0 {
		return
	}
	past := in.Learned.gain() * (x - float64(usual)) / -w.e // of what is missing
	sure := w.e * w.e / (w.e*w.e + gaugeSpread*gaugeSpread)
	for _, c := range [...]Cause{EmitterFault, ValveStuckClosed} {
		w.keep(c, 1-sure*math.Max(past, 0))
	}
	if usual >= gaugeWorks {
		for _, c := range [...]Cause{EdgeChannelling, RootBound} {
			w.keep(c, math.Max(1-sure, past))
		}
	}
}

// keep keeps a share of what speaks for a cause.
func (w *weights) keep(c Cause, share float64) {
	w.r[c] = math.Min(w.r[c], w.r[c]*math.Min(math.Max(share, 0), 1))
}
