package diagnose

import (
	"time"

	"rhizostat/policy/advice"
)

// Check is something a person can do to tell causes apart.
type Check struct {
	Code    string  // of its sentence
	Minutes float64 // what it costs (common practice, no source)
	// Settles are the causes that it confirms or rules out.
	Settles []Cause
}

// checks in the order of their cost. None of them harms roots.
var checks = []Check{
	{"look-lift", 1, []Cause{Oversaturation, SensorFault}},
	{"look-records", 2, []Cause{UnreportedWatering, WeatherOrGrowth}},
	{"look-probe", 3, []Cause{SensorFault, EmitterFault}},
	{"look-temperature", 3, []Cause{RootZoneHeat}},
	{"look-valve", 5, []Cause{ValveStuckOpen, ValveStuckClosed, UnreportedWatering, EmitterFault}},
	{"look-ec", 5, []Cause{SaltBuildUp}},
	{"look-emitter", 10, []Cause{EmitterFault, ValveStuckClosed, EdgeChannelling}},
	{"look-drain", 10, []Cause{Oversaturation, EdgeChannelling, Compaction, ValveStuckOpen}},
	{"look-roots", 10, []Cause{RootBound, Compaction, EdgeChannelling}},
	{"look-shade", 15, []Cause{RootZoneHeat, WeatherOrGrowth}},
	{"look-second-probe", 20, []Cause{SensorFault, EdgeChannelling, EmitterFault}},
}

// toldDays is for how long a told change of the crop explains that it drinks otherwise: what
// was usual before is forgotten by then (common practice, no source).
const toldDays = 14

// toldCrop reports whether a told change of the crop explains what began at sinceMs.
func (m *Memory) toldCrop(sinceMs, atMs int64) bool {
	return m.CropMs != 0 && sinceMs >= m.CropMs-dayMs && atMs-m.CropMs < toldDays*dayMs
}

// lookAt is the cheapest look that would tell whether a cause is there, given what
// else it may be: of the checks that settle it, the one that settles the most
// doubt for its minutes.
func (m *Memory) lookAt(c Cause, sinceMs, atMs int64, n Naming) advice.Reason {
	if k := m.Fast.partedProbe(); k >= 0 && (c == SensorFault || c == EmitterFault) {
		return advice.Say("look-lift-probe", advice.Name(n.Probe(k)))
	}
	if k := int(m.Fast.WorstProbe) - 1; c == SensorFault && k >= 0 {
		return advice.Say("look-probe", advice.Name(n.Probe(k))) // it is known which
	}
	if moved, since := m.Moved(atMs); c == WeatherOrGrowth && moved >= elsewhereSaid {
		return advice.Say("look-container", advice.Date(time.UnixMilli(since), n.Location))
	}
	if c == WeatherOrGrowth && m.toldCrop(sinceMs, atMs) {
		return advice.Say("look-told", advice.Date(time.UnixMilli(m.CropMs), n.Location))
	}
	p, _ := m.Belief.probabilities()
	m.shareLone(&p, atMs)
	best, code := 0.0, ""
	for i := range checks {
		k := &checks[i]
		if k.Code == "look-probe" && m.Fast.WorstProbe == 0 {
			continue // no probe stands out
		}
		settles, mine := 0.0, false
		for _, other := range k.Settles {
			settles += p[other] * (1 - p[other])
			mine = mine || other == c
		}
		worth := (settles + 0.1*p[c]) / (k.Minutes + 5)
		if mine && worth > best {
			best, code = worth, k.Code
		}
	}
	switch code {
	case "look-probe":
		return advice.Say("look-probe", advice.Name(n.Probe(int(m.Fast.WorstProbe)-1)))
	case "look-records":
		return advice.Say("look-records", advice.Date(time.UnixMilli(sinceMs), n.Location))
	}
	return advice.Say(code)
}
