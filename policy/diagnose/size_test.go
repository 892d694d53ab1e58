package diagnose

import (
	"encoding/binary"
	"testing"
)

// A zone's whole snapshot has 8 KiB; the diagnosis has 1.7 KiB of it.
func TestMemoryIsSmallAndOfFixedSize(t *testing.T) {
	size := binary.Size(Memory{})
	t.Logf("%d bytes", size)
	if size <= 0 || size > 1740 {
		t.Errorf("%d bytes; at most 1740", size)
	}
}
