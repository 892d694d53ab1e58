package policy

import (
	"time"

	"rhizostat/policy/learning"
)

// follower plays a controller that follows an advice by trigger: from the first
// shot on one shot after the other at the least interval until the target is
// reached, then one whenever the zone is at or below the trigger, until the
// last shot or the day's cap.
type follower struct {
	q               *planned
	firstMs, lastBy int64
	lastMs          int64 // last shot
	intervalMs      int64
	shotML, leftML  float64
	trigger, target float64
	rewet           bool
}

// take reads the setpoints of q, as they stand at an instant.
func (f *follower) take(z *Zone, q *planned, at int64) {
	sp := q.Advice.Setpoints
	f.q = q
	f.firstMs, f.lastBy = sp.FirstShotAt.UnixMilli(), sp.LastShotBy.UnixMilli()
	if sp.FirstShotAt.IsZero() { // no water: due never comes
		f.firstMs, f.lastBy = at, 0
	}
	f.intervalMs = int64(sp.MinIntervalS) * 1000
	f.shotML, f.leftML = float64(sp.ShotVolumeML), float64(sp.MaxVolumeML)
	f.trigger, f.target = sp.TriggerWaterContent, sp.TargetWaterContent
	f.rewet = true
	if from := q.Advice.ValidFrom.UnixMilli(); from < at {
		f.leftML -= z.givenSince(from, at)
		f.rewet = !reachedSince(&z.m.Learned.History, f.firstMs, at, f.target)
	}
}

// due is the shot that the controller gives now, mL.
func (f *follower) due(level float64, now int64) float64 {
	if now < f.firstMs || now > f.lastBy {
		return 0
	}
	f.rewet = f.rewet && level < f.target
	if !f.rewet && level > f.trigger || f.leftML < f.shotML-0.5 || now-f.lastMs < f.intervalMs {
		return 0
	}
	f.leftML -= f.shotML
	return f.shotML
}

// reachedSince reports whether the water content was up to a level at some time
// from from to to.
func reachedSince(h *learning.History, from, to int64, level float64) bool {
	for at := from; at <= to; at += (5 * time.Minute).Milliseconds() {
		if v, ok := h.FineAt(at); ok && v >= level {
			return true
		}
	}
	return false
}
