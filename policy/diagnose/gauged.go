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
	// pastSpread is how far the drain strays from what is missing, as a share: what the crop
	// drank of it is known to a quarter or so, and trays catch a part. mostGauge bounds what one
	// stretch says (likewise).
	pastSpread, mostGauge = 0.5, 3
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

// Drains is the share of the water given that a gauge usually tells of in stretches of one kind.
type Drains struct {
	Mean  float32
	Heard uint16 // stretches that it told of: others say nothing of it, and one may begin late
}

// learn takes a stretch of a zone that is well into the share that usually drains of its kind.
func (g *Gauge) learn(usual *Drains, given float64, in *Inputs) {
	if x, ok := g.share(given, in); ok {
		usual.Heard = min(usual.Heard+1, 1000)
		usual.Mean += float32(math.Max(1/float64(usual.Heard), 0.05)) * (float32(x) - usual.Mean)
	}
}

// tell holds the drain of the stretch against what causes predict, where less than usual is
// found of its water: where water runs past, what is missing drains; where less comes, no more
// drains than usual. That only ever speaks against causes: a container that is fuller than was
// thought drains more, too. Of a gauge that usually tells of nothing it says nothing that
// it tells of none.
func (g *Gauge) tell(w *weights, drains Drains, given float64, in *Inputs) {
	x, ok := g.share(given, in)
	if !ok || w.e >= 0 || drains.Heard < gaugeWindows {
		return
	}
	usual := drains.Mean
	missing := -w.e / in.Learned.gain()
	off := weights{e: x - float64(usual), spread: gaugeSpread}
	off.say(EdgeChannelling, missing, pastSpread*missing)
	off.say(EmitterFault, -shortShare*float64(usual), shortSpread*float64(usual))
	// of one container's emitter the gauge of all shows nothing, of all emitters less
	emitters := math.Log(0.5 + 0.5*math.Exp(off.r[EmitterFault]))
	past := math.Min(math.Max(off.r[EdgeChannelling]-emitters, -mostGauge), mostGauge)
	switch {
	case past > 0:
		w.doubt(past, EmitterFault, ValveStuckClosed)
	case usual >= gaugeWorks:
		w.doubt(-past, EdgeChannelling, RootBound)
	}
}

// doubt takes so much off what speaks for causes, down to what one observation may say
// against them.
func (w *weights) doubt(by float64, of ...Cause) {
	for _, c := range of {
		w.r[c] = math.Min(w.r[c], math.Max(w.r[c]-by, leastSays))
	}
}
