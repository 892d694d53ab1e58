package diagnose

import (
	"encoding/binary"
	"testing"
)

// A zone's whole snapshot has 8 KiB; the diagnosis has 3.1 kB of it.
func TestMemoryIsSmallAndOfFixedSize(t *testing.T) {
	size := binary.Size(Memory{})
	t.Logf("%d bytes", size)
	if size <= 0 || size > 3070 {
		t.Errorf("%d bytes; at most 3070", size)
	}
}
