package plan

import "math"

// Tick is the step of trigger and target, m3/m3: what probes and controllers
// tell apart (common practice, no source).
const Tick = 0.005

// ticks gives a water content in ticks, rounded down.
func ticksDown(x float64) int { return int(math.Floor(x/Tick + 1e-9)) }

// ticksUp gives a water content in ticks, rounded up.
func ticksUp(x float64) int { return int(math.Ceil(x/Tick - 1e-9)) }

// ofTicks is the water content of whole ticks; dividing keeps it the nearest
// float64 to its decimal.
func ofTicks(n int) float64 { return float64(n) / 200 }

// volume is a shot that a controller can give: whole mL, and the whole seconds
// in which the emitters give them (0 when their flow is not known).
type volume struct {
	ml, runS int
}

// runTolerance is how far the flow times the run time may be off the volume, as
// a share of it: well below what emitters differ by among themselves (a new
// emitter's coefficient of variation is some 3 to 7 %; memory).
const runTolerance = 0.0025

// RunTime gives the whole seconds in which a flow, mL/s, gives a volume, mL, and
// whether they do so to within a quarter of a per cent or 0.05 mL. With no flow
// the run time is 0 and every volume will do.
//
//	t = V/q  (150 mL at 2 L/h, 0.5556 mL/s, is 270 s)
func RunTime(ml int, flowMLPerS float64) (seconds int, ok bool) {
	if !(flowMLPerS > 0) {
		return 0, true
	}
	s := math.Round(float64(ml) / flowMLPerS)
	off := math.Abs(s*flowMLPerS - float64(ml))
	return int(s), s >= 1 && off <= math.Max(0.05, runTolerance*float64(ml))
}

// roundVolume gives the plainest volume near the one wanted that is at most
// most: whole mL in whole seconds, a multiple of 10 or 5 mL where one lies
// within 6 %, and rather one that the seconds give exactly. Where a coarse flow
// has none to within the tolerance of RunTime, it is the nearest to one. ok is
// false where most is below 1 mL or below what one second gives.
func roundVolume(wanted, most, flowMLPerS float64) (v volume, ok bool) {
	wanted = math.Min(wanted, most)
	top := math.Min(math.Floor(most+1e-9), math.Ceil(wanted*4/3))
	bottom := math.Max(1, math.Floor(wanted*2/3))
	best := math.Inf(1)
	for ml := int(bottom); float64(ml) <= top; ml++ {
		s, exact := RunTime(ml, flowMLPerS)
		if flowMLPerS > 0 && s < 1 {
			continue
		}
		off := math.Abs(float64(ml)/wanted - 1)
		switch {
		case ml%10 == 0:
		case ml%5 == 0:
			off += 0.03
		default:
			off += 0.06
		}
		if flowMLPerS > 0 {
			off += 20 * math.Abs(float64(s)*flowMLPerS/float64(ml)-1)
		}
		if !exact {
			off += 10
		}
		if off < best {
			best, v, ok = off, volume{ml, s}, true
		}
	}
	return v, ok
}

// How large one shot may be, as a share of the container's volume. Smaller ones
// are lost in the lines and to uneven emitters; larger ones run through before
// the substrate has taken them up. A shot of 1 to 6 % is common practice, no
// source.
const (
	leastShotShare = 0.008
	mostShotShare  = 0.07
	leastRunS      = 20 // s; below it filling the lines is most of a run
)

// volumes fills list with the shots worth trying, rising, where leftML may still
// be given on the day.
func volumes(list []volume, r *Request, leftML, mostShare float64) []volume {
	list = list[:0]
	V := r.Situation.VolumeML
	most := math.Min(r.Limits.MaxShotML, math.Min(leftML, math.Max(mostShare*V, leastRunS*r.FlowMLPerS)))
	least := math.Min(most, math.Max(leastShotShare*V, math.Max(1, leastRunS*r.FlowMLPerS)))
	if !(most >= 1) {
		return list
	}
	for wanted := least; ; wanted *= 1.25 {
		wanted = math.Min(wanted, most)
		if v, ok := roundVolume(wanted, most, r.FlowMLPerS); ok && (len(list) == 0 || v.ml > list[len(list)-1].ml) {
			list = append(list, v)
		}
		if wanted >= most {
			return list
		}
	}
}
