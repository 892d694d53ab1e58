package diagnose

import "rhizostat/policy/learning"

// Said takes an operator's event (kind as on the wire) or the note of a decision,
// which may answer a look. A watering by hand explains a rise; a probe that was
// moved explains its readings; shoots pruned explain a change of drinking. What a
// note says of a cause is a person's word for it or against it. It reports whether the note
// says that the probes are well.
func (m *Memory) Said(kind, note string, whenMs, atMs int64) (probesWell bool) {
	b := &m.Belief
	b.fade(atMs)
	switch kind {
	case "watered-by-hand":
		if !m.Fast.explains(whenMs, atMs) {
			break // the rise was another watering
		}
		b.clear(UnreportedWatering)
		b.clear(ValveStuckOpen)
		m.Fast.Unreported, m.Fast.Lifted = Unreported{}, Lifted{}
	case "probe-moved":
		// A level of another place, and a rise that led to it.
		m.Fast.Lifted, m.Fast.Rises = Lifted{}, RiseWatch{Var: m.Fast.Rises.Var}
		if u := &m.Fast.Unreported; u.AtMs != 0 && u.AtMs >= whenMs-learning.NearMs && u.AtMs <= whenMs+learning.NearMs {
			b.clear(UnreportedWatering)
			b.clear(ValveStuckOpen)
			*u = Unreported{}
		}
		b.clear(SensorFault)
		m.Fast.lookedAt(atMs)
		m.Fast.Probes, m.Fast.Round = nil, Round{WaterMs: atMs} // no rise from where they were
		if m.Fast.Speaks <= 2 {
			m.seenElsewhere()
		}
	case "shoots-pruned", "crop-ended":
		b.add(WeatherOrGrowth, 4)
		m.CropMs = max(m.CropMs, whenMs)
		m.Trend = Trend{}
	}
	if inPlace(note) {
		m.Fast.Fall.Elsewhere = Elsewhere{AtMs: atMs, Odds: leastElsewhere, Fall: 1}
	}
	for c := Cause(0); c < causeCount; c++ {
		switch answer(c, note) {
		case denied:
			b.clear(c)
			switch c {
			case SensorFault:
				m.Fast.lookedAt(atMs)
				probesWell = true
			case EmitterFault:
				m.Fast.emittersWell()
			}
		case affirmed:
			b.add(c, saidWeight)
		}
	}
	b.settle(atMs)
	return probesWell
}

// explains tells whether a watering of a time may be the rise that nobody had reported:
// what is told when it is done explains what is found just then, whenever it began.
func (f *Fast) explains(whenMs, atMs int64) bool {
	u := &f.Unreported
	return u.AtMs == 0 || atMs-whenMs < learning.NearMs || whenMs >= u.AtMs-learning.NearMs && whenMs <= u.AtMs+learning.NearMs
}

// lookedAt takes that a person looked at the probes: what they did before is no news.
func (f *Fast) lookedAt(atMs int64) {
	f.LookedMs, f.Unreported.Quick, f.Unreported.StaysAt, f.Drifts = atMs, false, 0, Drifts{}
}

// emittersWell takes that a person found the emitters well, or mended them: what shots told
// of a container that got no water is answered. It is dry yet, and comes back within days.
func (f *Fast) emittersWell() {
	for i := range f.Probes {
		if w := &f.Probes[i]; w.Odds > -saidWeight {
			w.Odds, w.Recent, w.Dry = -saidWeight, w.Usual, 0
		}
	}
	f.Shots.found()
	f.Shots.Recent = f.Shots.usual().Mean
}

// saidWeight is the log likelihood ratio of a person's word for a cause: people on
// site are right nine times in ten or more (common practice, no source).
const saidWeight = 4

// clear takes a cause back to below its prior.
func (b *Belief) clear(c Cause) { b.LogOdds[c] = least }
