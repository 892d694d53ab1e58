package diagnose

import "testing"

// A day on which no drainage was seen says nothing of how fast water drains: the old
// value stands, and would speak against every cause that slows it.
func TestDrainTimeOfADayIsSeenOrUnknown(t *testing.T) {
	for _, c := range []struct {
		name    string
		learned float64 // ln s by which the belief moved in the day
		known   bool
	}{{"no drainage seen", 0, false}, {"drains slower", 0.3, true}} {
		var day Collector
		in, at := inputs(), start
		for look := range 288 {
			if look == 144 {
				in.Learned.DrainLog += c.learned
			}
			at += 5 * 60_000
			day.look(in, at)
		}
		if f := day.finish(in); f.Known[DrainTime] != c.known {
			t.Errorf("%s: known %v; expected %v", c.name, f.Known[DrainTime], c.known)
		}
	}
}
