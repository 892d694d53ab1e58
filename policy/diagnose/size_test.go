package diagnose

import (
	"reflect"
	"testing"
)

// A zone is held in memory for as long as the daemon lives; the diagnosis is a large part
// of it, with what is kept of each of its probes: of how one drifts two days of levels, and what
// the others did while one said the very same.
func TestMemoryIsSmall(t *testing.T) {
	each := reflect.TypeFor[ProbeWatch]().Size() + reflect.TypeFor[Stillness]().Size() + reflect.TypeFor[DriftWatch]().Size()
	for _, c := range []struct{ probes, most uintptr }{{2, 3100}, {16, 7100}} {
		size := reflect.TypeFor[Memory]().Size() + c.probes*each
		t.Logf("%d probes: %d bytes", c.probes, size)
		if size > c.most {
			t.Errorf("%d bytes with %d probes; at most %d", size, c.probes, c.most)
		}
	}
}
