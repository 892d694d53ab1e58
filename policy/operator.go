package policy

import (
	"rhizostat/policy/advice"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/learning"
)

// operate takes something a person did.
func (z *Zone) operate(e *OperatorEvent, at int64) {
	if e == nil {
		panic("zone " + z.settings.Zone + ": an operator event without content")
	}
	c, l := &z.ground.constants, &z.m.Learned
	when := at
	if !e.At.IsZero() {
		when = min(e.At.UnixMilli(), at)
	}
	switch e.Kind {
	case Transplanted, ContainerChanged, SubstrateChanged:
		z.repot(e, when, at)
		l.Changed(&z.ground.constants, at, learning.NewContainer)
		z.recover(when, at)
	case RootsDisturbed:
		l.Changed(c, at, learning.RootsDisturbed)
		z.recover(when, at)
	case ShootsPruned, CropEnded:
		l.Changed(c, at, learning.CropChanged)
	case WateredByHand:
		if e.VolumeML > 0 {
			l.ByHand(c, when, at, e.VolumeML)
			z.noteWater(when)
		}
	case ProbeMoved:
		z.moveProbe(e, at)
	}
	z.said(e.Kind, e.Note, when, at)
}

// said takes what a person says, in an event of an earlier time or with a decision. Who looked at the probes and
// found them well is believed: they count again.
func (z *Zone) said(kind, note string, when, at int64) {
	if z.m.Diagnosis.Said(kind, note, when, at) {
		changed := z.m.Panel.Looked(at)
		z.m.Panel.Rejoined = z.m.Panel.Rejoined || changed && z.m.Panel.Healthy(at) <= 1
	}
}

// repot takes the new container and substrate, as far as they are named and
// known; the probes keep their heights unless the new container is too low.
func (z *Zone) repot(e *OperatorEvent, when, at int64) {
	container, substrate := *z.ground.container, *z.ground.substrate
	if c, ok := z.settings.Containers[e.Container]; ok {
		container = c
	}
	if s, ok := z.settings.Substrates[e.Substrate]; ok {
		substrate = s
	} else if s, ok := hydraulics.BuiltIn(e.Substrate); ok {
		substrate = s
	}
	if err := z.stand(container, substrate, new(hydraulics.Shelf)); err != nil {
		// nothing that could be planned by is left: what is known of the old
		// container goes on, and a person is told
		z.cannotHold(at)
		return
	}
	if z.ground.misfit {
		z.cannotHold(at)
	}
	p := &z.m.Plans
	p.MovedMs = when
	z.m.Cycle.ShotsToday, z.m.Cycle.FirstReachedMs = 0, 0 // the day's rewet was another pot's
	p.DrainShift, p.RepottedMs, p.Enough, p.UsualML = 0, at, [2]enough{}, 0
	z.today.known = false // the stage's band and the day are worked out anew
	z.setDay(at)
	z.m.Panel.Repotted(at)
}

// cannotHold asks a person to tell a band that the new container can hold.
func (z *Zone) cannotHold(at int64) { z.askForBand(at, advice.InspectBand()) }

// askForBand asks a person for another band.
func (z *Zone) askForBand(at int64, reasons []advice.Reason) {
	z.ask(reasons, 1, asksBand, at)
}

// moveProbe takes a probe's new height; what was learned of its offset is
// forgotten.
func (z *Zone) moveProbe(e *OperatorEvent, at int64) {
	for i := range z.settings.Probes {
		if z.settings.Probes[i].ID != e.Probe {
			continue
		}
		height, length := fit(e.HeightCM, z.settings.Probes[i].SensingLengthCM, z.ground.container.HeightCM)
		table, err := z.ground.profile.Probe(height, length)
		if err != nil {
			return // it sticks out of the container there: the old place is the better guess
		}
		z.probes[i].HeightCM = height
		z.ground.tables[i] = table
		z.m.Panel.Moved(i, at)
		// Where no other holds the level, the next word of this one is another level.
		if z.m.Panel.Healthy(at) <= 1 {
			z.m.Panel.Rejoined = true
			z.m.Learned.SeenElsewhere()
		}
	}
}

// recover begins the time in which things are held steady: it counts from when the
// roots were disturbed, and what was learned since then of a container that was another
// is forgotten when it is told.
func (z *Zone) recover(when, at int64) {
	z.m.Recovery = recovery{SinceMs: when}
	z.m.Diagnosis.Disturbed(when, at)
}
