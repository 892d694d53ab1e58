package learning

import "math"

// Block gathers one stretch without watering: a straight line of water content
// over the demand drawn, whose slope is the uptake per demand.
type Block struct {
	FromMs, ToMs  int64
	Drawn         float64 // effective demand since FromMs, demand units times s
	N             int32
	SX, SY        float64 // sums over ticks of drawn and of level less First
	SXX, SXY, SYY float64
	First         float64
	Last          float64 // drawn at ToMs
	ShotMs        int64   // watering that it follows
	Busy          bool    // begun less than quietMs after a watering
}

const (
	blockMs      = 60 * minuteMs // a block is at least so long
	longestBlock = 8 * hourMs    // and at most, where its fall is still within the noise
	// quietMs is how long after a watering's top a fall is the crop's alone:
	// until then water still moves down past the probes and slows or hastens
	// it. On measured slabs the fall from 30 to 60 min is a fifth too small.
	quietMs      = 60 * minuteMs
	busyMs       = 20 * minuteMs
	leastBlockMs = 15 * minuteMs // and teaches nothing when shorter
	// modelSD is how far one hour's uptake per demand strays from the day's,
	// as a share of it. Common practice, no source.
	modelSD = 0.2
	// busySD is the same between two waterings, where water still moves.
	busySD = 0.4
)

func (b *Block) add(at int64, w float64) {
	if b.N == 0 {
		b.FromMs, b.First, b.Drawn = at, w, 0
	}
	x, y := b.Drawn, w-b.First
	b.N++
	b.SX += x
	b.SY += y
	b.SXX += x * x
	b.SXY += x * y
	b.SYY += y * y
	b.ToMs, b.Last = at, x
}

// slope returns fall per unit of drawn demand and its standard deviation.
func (b *Block) slope(noise, grain float64) (fall, sd float64, ok bool) {
	if b.N < 2 || b.ToMs-b.FromMs < leastBlockMs {
		return 0, 0, false
	}
	n := float64(b.N)
	sxx := b.SXX - b.SX*b.SX/n
	sxy := b.SXY - b.SX*b.SY/n
	syy := b.SYY - b.SY*b.SY/n
	if !(sxx > 0) {
		return 0, 0, false
	}
	fall = -sxy / sxx
	residual := math.Max(0, syy-sxy*sxy/sxx)
	variance := math.Max(residual/math.Max(1, n-2), noise*noise)
	// The grain of a coarse probe does not average out: both ends have it.
	ends := math.Sqrt2 * grain / math.Max(b.Last, 1e-300)
	return fall, math.Hypot(math.Sqrt(variance/sxx), ends), true
}
