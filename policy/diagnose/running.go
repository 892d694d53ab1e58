package diagnose

// Running is what a zone drains while none of its shots show in the container that is looked at.
// A valve that stays shut gives nothing that could drain, once what came before has run out: where
// drain goes on as waterings are reported, the others get their water, and it is the emitter of
// this one.
type Running struct {
	GivenML float32 // reported since the zone was first seen, when this began; 0: it has not
	Drain   Gauge
}

// runsShare of what is given must drain to count, as much as makes a day one that drains
// (Features.Drains): trays also catch rain and what is cleaned (common practice, no source).
const runsShare = 0.05

// look reports whether water runs in a zone that has lost its shots since lostMs.
func (r *Running) look(in *Inputs, lostMs, atMs int64) bool {
	if atMs-lostMs < lateMs {
		return false // what came before may still drain
	}
	if r.GivenML == 0 || r.Drain.FromML < 0 || !in.Water.DrainHeard {
		r.GivenML = float32(in.Water.ReportedML)
		r.Drain.begin(in)
		return false
	}
	given := in.Water.ReportedML - float64(r.GivenML)
	x, ok := r.Drain.share(given, in)
	return ok && given > leastRise*in.VolumeML && x > runsShare
}

// ofOneContainer takes that the valve gives water which one container does not get: what its shots
// said of the valve, they say of its emitter.
func (b *Belief) ofOneContainer() {
	if b.LogOdds[ValveStuckClosed] > b.LogOdds[EmitterFault] {
		b.LogOdds[EmitterFault] = b.LogOdds[ValveStuckClosed]
	}
	b.LogOdds[ValveStuckClosed] = least
}
