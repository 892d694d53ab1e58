package learning

import (
	"encoding/binary"
	"testing"
)

// A zone's whole snapshot has 8 KiB; learning may take half of it.
func TestZoneIsSmallAndFixed(t *testing.T) {
	n := binary.Size(Zone{})
	t.Logf("a zone is %d bytes", n)
	if n < 0 || n > 4096 {
		t.Errorf("a zone takes %d bytes; expected a fixed size of at most 4096", n)
	}
}
