package diagnose

import "testing"

// What people write after a look, and what it says of a cause.
func TestAnswers(t *testing.T) {
	for _, c := range []struct {
		note string
		of   Cause
		want word
	}{
		{"emitter-fault", EmitterFault, affirmed},
		{"it was an emitter fault", EmitterFault, affirmed},
		{"three emitters clogged", EmitterFault, affirmed},
		{"no emitter-fault", EmitterFault, denied},
		{"not an emitter fault", EmitterFault, denied},
		{"There is no sign of an emitter fault.", EmitterFault, denied},
		{"emitter fault ruled out", EmitterFault, denied},
		{"emitter fault repaired", EmitterFault, denied},
		{"emitter blocked, replaced", EmitterFault, denied},
		{"checked emitters, all fine", EmitterFault, denied},
		{"emitter-fault? no", EmitterFault, denied},
		{"emitter-fault? yes", EmitterFault, affirmed},
		{"emitter-fault?", EmitterFault, silent},
		{"looked at the emitters", EmitterFault, silent},
		{"the valve was open all night", ValveStuckOpen, affirmed},
		{"the valve was open all night", ValveStuckClosed, silent},
		{"valve did not open", ValveStuckClosed, affirmed},
		{"no, the valve did not open", ValveStuckClosed, affirmed},
		{"valve stuck closed ruled out", ValveStuckClosed, denied},
		{"roots circling at the wall", RootBound, affirmed},
		{"roots are white, not root-bound", RootBound, denied},
		{"probe p2 fell out", SensorFault, affirmed},
		{"probes sit firm and work well", SensorFault, denied},
		{"no root-bound; valve-stuck-open", RootBound, denied},
		{"no root-bound; valve-stuck-open", ValveStuckOpen, affirmed},
		{"no salt-build-up, it was watered by hand", UnreportedWatering, affirmed},
		{"emitter-fault confirmed, not fixed yet", EmitterFault, affirmed},
		{"emitter fault: blocked, to be fixed tomorrow", EmitterFault, affirmed},
		{"emitters blocked, still to be replaced", EmitterFault, affirmed},
		{"emitter fault, timer reset", EmitterFault, affirmed},
		{"valve stuck closed, cannot be repaired before Monday", ValveStuckClosed, affirmed},
		{"valve-stuck-closed not repaired", ValveStuckClosed, affirmed},
		{"emitter fault; looked at the house; gutters cleaned", EmitterFault, affirmed},
		{"", EmitterFault, silent},
		{"no", EmitterFault, silent},
		{"annotation of another thing", EmitterFault, silent},
	} {
		if got := answer(c.of, c.note); got != c.want {
			t.Errorf("%q of %v: %d, expected %d", c.note, c.of, got, c.want)
		}
	}
}

// A change of the crop that was told is not asked about: who pruned is known.
func TestAToldPruningIsNotAskedAbout(t *testing.T) {
	for told, want := range map[bool]string{true: "look-told", false: "look-records"} {
		m, at := known()
		if told {
			m.Said("shoots-pruned", "", at-hourMs, at)
		}
		m.Belief.LogOdds[WeatherOrGrowth] = 5
		m.Belief.settle(at)
		look := m.lookAt(WeatherOrGrowth, at, at+hourMs, words)
		if look.Code != want {
			t.Errorf("told %v: %s; expected %s", told, look.Text, want)
		}
		if look := m.lookAt(WeatherOrGrowth, at+20*dayMs, at+20*dayMs, words); look.Code != "look-records" {
			t.Errorf("told %v: three weeks later it is %s", told, look.Text)
		}
	}
}
