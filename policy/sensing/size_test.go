package sensing

import (
	"reflect"
	"testing"
)

// A zone is held in memory for as long as the daemon lives; these are large parts of it,
// with what is kept of each of its probes.
func TestSizes(t *testing.T) {
	health, opinion := reflect.TypeFor[ProbeHealth]().Size(), reflect.TypeFor[Opinion]().Size()
	for _, c := range []struct {
		name       string
		size, most uintptr
	}{
		{"probe health", health, 248},
		{"opinion", opinion, 40},
		{"panel of two probes", reflect.TypeFor[Panel]().Size() + 2*(health+opinion), 720},
		{"panel of as many as may be", reflect.TypeFor[Panel]().Size() + MaxProbes*(health+opinion), 4800},
	} {
		if c.size > c.most {
			t.Errorf("%s takes %d bytes, expected at most %d", c.name, c.size, c.most)
		}
		t.Logf("%s: %d bytes", c.name, c.size)
	}
}

// What is kept of a probe that has come up takes no more memory for each reading.
func TestAReadingTakesNoMemory(t *testing.T) {
	var p Panel
	at := trialStartMs
	tell := func() {
		at += minuteMs
		for i := range 3 {
			p.Observe(i, at, 0.5, 0.5, Zone{})
		}
	}
	tell()
	if n := testing.AllocsPerRun(1000, tell); n != 0 {
		t.Errorf("%v allocations a reading of three probes; expected none", n)
	}
	if len(p.Health) != 3 || cap(p.Health) != 3 || len(p.Consensus.Probes) != 3 {
		t.Errorf("%d and %d kept of three probes, of %d", len(p.Health), len(p.Consensus.Probes), cap(p.Health))
	}
}
