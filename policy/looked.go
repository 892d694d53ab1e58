package policy

import (
	"time"

	"rhizostat/policy/advice"
)

// What an advice to look is about.
const (
	asksNothing = iota
	asksProbes  // too few probes are healthy
	asksFault   // something is likely wrong
	asksVolume  // the container may be another
	asksBand    // the container cannot hold the band
)

// leastToLook is how long people have at least to look before an advice to do so is over: what
// is found before the day begins is looked at by daylight (common practice, no source).
const leastToLook = 12 * time.Hour

// ask proposes that a person looks. It stands to the end of the irrigation day, and for half a day
// in any case, unless its cause goes before.
func (z *Zone) ask(reasons []advice.Reason, confidence float64, asks uint8, at int64) {
	until := z.settings.DayAt(instant(at)).Next
	if least := instant(at).Add(leastToLook); until.Before(least) {
		until = least
	}
	z.propose(&advice.Advice{Action: advice.Inspect, ValidFrom: instant(at), ValidUntil: until, Reasons: reasons, Confidence: confidence}, at)
	z.plans[len(z.plans)-1].Asks = asks
}

// stillBroken is the probability that something is broken down to which an advice to look at it
// stands, far below that from which it is given: while its trouble lasts nobody is asked again
// for a day, and another cause may lead for an hour (common practice, no source).
const stillBroken = inspectAt / 4

// looked ends an advice to look once there is nothing to look at any more: one at a step, and
// none in a step that issues another.
func (z *Zone) looked(at int64) {
	for i := range z.plans {
		q := &z.plans[i]
		if q.Asks == asksNothing || !instant(at).After(q.Advice.IssuedAt) {
			continue
		}
		if !instant(at).Before(q.Advice.ValidUntil) {
			q.Asks = asksNothing
			continue
		}
		if z.scratch.out.Advice == nil && z.scratch.out.Over == "" && !z.stillAsks(q, at) {
			q.Asks, q.Advice.ValidUntil = asksNothing, instant(at)
			z.scratch.out.Over = q.Advice.ID
		}
	}
}

// stillAsks reports whether what an advice to look is about is as it was.
func (z *Zone) stillAsks(q *planned, at int64) bool {
	switch d := &z.m.Diagnosis; q.Asks {
	case asksProbes:
		return z.m.Plans.QuorumMs != 0
	case asksFault:
		_, _, since, wrong := d.Leading()
		moved, _ := d.Moved(at)
		return wrong && since == d.Inspected && (d.Broken() >= stillBroken || moved >= askMovedAt/2)
	case asksVolume:
		_, doubted := d.SayVolume(z.ground.constants.VolumeML)
		return doubted
	case asksBand:
		return z.m.Plans.RepottedMs <= q.Advice.IssuedAt.UnixMilli() || z.ground.misfit
	}
	return false
}
