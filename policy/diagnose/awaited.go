package diagnose

import "math"

// AwaitedWatch follows, in a zone whose waterings nobody reports, what comes of the
// approved plan: from its first shot on the zone must gain what the schedule gives, less
// what the crop drinks. Whether the controller goes by trigger or by clock makes no
// difference while the zone is below the trigger: then both give at least that. Only a
// zone in which plans have come true is held to them, for a controller that keeps to a
// programme of its own gives its water at other times.
type AwaitedWatch struct {
	PlanMs    int64   // first shot of the plan that is followed, 0: none
	Level     float32 // water content then, m3/m3
	UptakeML  float32 // usual uptake since
	JudgedML  float32 // of the plan's water, what has been judged
	SawMs     int64   // newest judgement
	PlannedML float32 // what the plan had given by then
	Share     float32 // of that which came
	Came      uint8   // plans that came true, up to enough
}

const (
	// awaitedLeast is the water of a plan that is waited for before it is judged, as a
	// share of the container's volume, and noises the least rise by it over the noise of
	// the zone's water content (common practice, no source).
	awaitedLeast  = 0.03
	awaitedNoises = 8.0
	// cameShare of a plan's water tells that it came, less than lostShare that it did
	// not.
	cameShare, lostShare = 0.5, 0.25
	// uptakeKnown is how well the uptake since the plan's first shot is known, as a
	// share: late in a day in which the crop drank more than usual the water of a plan
	// is gone without having been missed.
	uptakeKnown = 0.35
	// cameOften is how many plans must have come true before one is missed.
	cameOften = 2
)

// look takes the zone as it is.
func (w *AwaitedWatch) look(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	p := &in.Water
	if p.Reports || p.PlanMs == 0 || atMs < p.PlanMs || w.PlanMs != p.PlanMs && atMs-p.PlanMs > pairMs {
		w.PlanMs = 0 // no plan, or its first shot was not seen coming
		return
	}
	if w.PlanMs != p.PlanMs {
		w.PlanMs, w.Level, w.UptakeML, w.JudgedML = p.PlanMs, float32(in.WaterContent), 0, 0
	}
	w.UptakeML += float32(usualUptake(in, base) * 300)
	least := math.Max(awaitedLeast, awaitedNoises*in.Learned.Noise) * in.VolumeML
	more := p.PlannedML - float64(w.JudgedML)
	if more < least {
		return
	}
	share := (in.VolumeML*(in.WaterContent-float64(w.Level))/in.Learned.gain() + float64(w.UptakeML)) / p.PlannedML
	switch {
	case share > cameShare:
		if w.SawMs < w.PlanMs {
			w.Came = min(w.Came+1, cameOften)
		}
		b.add(ValveStuckClosed, -3)
	case share < lostShare && in.WaterContent < p.Trigger && w.Came >= cameOften && uptakeKnown*float64(w.UptakeML) < lostShare*p.PlannedML:
		b.add(ValveStuckClosed, math.Min(2*more/least, 3))
	default:
		w.JudgedML = float32(p.PlannedML) // it tells nothing
		return
	}
	w.JudgedML, w.SawMs, w.PlannedML, w.Share = float32(p.PlannedML), atMs, float32(p.PlannedML), float32(share)
}

// lost tells whether the water of the newest plan did not come.
func (w *AwaitedWatch) lost() bool { return w.Came >= cameOften && w.Share < lostShare }
