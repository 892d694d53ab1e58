package sensing

import (
	"encoding/binary"
	"testing"
)

// A zone's whole snapshot has 8 KiB; these are its largest parts.
func TestSnapshotSizes(t *testing.T) {
	for _, c := range []struct {
		name string
		of   any
		most int
	}{
		{"probe health", ProbeHealth{}, 240},
		{"consensus", Consensus{}, 800},
		{"panel", Panel{}, 4800},
	} {
		size := binary.Size(c.of)
		if size <= 0 || size > c.most {
			t.Errorf("%s takes %d bytes, expected 1 to %d", c.name, size, c.most)
		}
		t.Logf("%s: %d bytes", c.name, size)
	}
}
