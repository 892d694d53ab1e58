package diagnose

import (
	"reflect"
	"testing"
)

// A zone is held in memory for as long as the daemon lives; the diagnosis is a large part
// of it, with what is kept of each of its probes: of how one drifts two days of levels.
func TestMemoryIsSmall(t *testing.T) {
	each := reflect.TypeFor[ProbeWatch]().Size() + reflect.TypeFor[Stillness]().Size() + reflect.TypeFor[DriftWatch]().Size()
	for _, c := range []struct{ probes, most uintptr }{{2, 3000}, {16, 6400}} {
		size := reflect.TypeFor[Memory]().Size() + c.probes*each
		t.Logf("%d probes: %d bytes", c.probes, size)
		if size > c.most {
			t.Errorf("%d bytes with %d probes; at most %d", size, c.probes, c.most)
		}
	}
}
