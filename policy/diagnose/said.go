package diagnose

import "strings"

// Said takes an operator's event (kind as on the wire) or the note of a decision,
// which may answer a look. A watering by hand explains a rise; a probe that was
// moved explains its readings; shoots pruned explain a change of drinking. In a
// note, the name of a cause, as it is on the wire or with spaces for hyphens,
// is a person's word for it, and "no" before it against it.
func (m *Memory) Said(kind, note string, atMs int64) {
	b := &m.Belief
	b.fade(atMs)
	switch kind {
	case "watered-by-hand":
		b.clear(UnreportedWatering)
		b.clear(ValveStuckOpen)
		m.Fast.Unreported = Unreported{}
	case "probe-moved":
		b.clear(SensorFault)
		m.Fast.lookedAt(atMs)
		m.Fast.Probes = [len(m.Fast.Probes)]ProbeWatch{}
	case "shoots-pruned", "crop-ended":
		b.add(WeatherOrGrowth, 4)
		m.Trend = Trend{}
	}
	words := strings.ToLower(strings.ReplaceAll(note, "-", " "))
	for c := Cause(0); c < causeCount; c++ {
		name := strings.ReplaceAll(c.String(), "-", " ")
		at := strings.Index(words, name)
		if at < 0 {
			continue
		}
		if before := strings.TrimSpace(words[:at]); strings.HasSuffix(before, "no") || strings.HasSuffix(before, "not") {
			b.clear(c)
			if c == SensorFault {
				m.Fast.lookedAt(atMs)
			}
			continue
		}
		b.add(c, saidWeight)
	}
	b.settle(atMs)
}

// lookedAt takes that a person looked at the probes: what they did before is no news.
func (f *Fast) lookedAt(atMs int64) {
	f.LookedMs, f.Unreported.Quick, f.Unreported.StaysAt = atMs, false, 0
}

// saidWeight is the log likelihood ratio of a person's word for a cause: people on
// site are right nine times in ten or more (common practice, no source).
const saidWeight = 4

// clear takes a cause back to below its prior.
func (b *Belief) clear(c Cause) { b.LogOdds[c] = least }
