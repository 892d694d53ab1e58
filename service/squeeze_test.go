package service

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"testing"
)

// What comes out is the same whoever was squeezed before, and is got back whole.
func TestOneSqueezerServesAll(t *testing.T) {
	part := func(i int) []byte {
		return append(make([]byte, 300*i), strings.Repeat(fmt.Sprintf("zone %d ", i), 100)...)
	}
	var shared squeezer
	var together sync.WaitGroup
	for i := range 20 {
		together.Go(func() {
			var alone squeezer
			want, err := alone.squeeze(part(i), part(i+1))
			if err != nil {
				t.Error(err)
			}
			got, err := shared.squeeze(part(i), part(i+1))
			if err != nil || !bytes.Equal(got, want) {
				t.Errorf("zone %d: %d bytes, error %v; expected the %d bytes of a squeezer of its own", i, len(got), err, len(want))
			}
			back, err := new(unsqueezer).unsqueeze(got)
			if err != nil || !bytes.Equal(back, append(part(i), part(i+1)...)) {
				t.Errorf("zone %d: got back %d bytes, error %v; expected what was put in", i, len(back), err)
			}
		})
	}
	together.Wait()
}

func TestADamagedSnapshotIsRefused(t *testing.T) {
	var s squeezer
	good, err := s.squeeze(bytes.Repeat([]byte("water "), 1000))
	if err != nil {
		t.Fatal(err)
	}
	other, err := s.squeeze([]byte("Water "), bytes.Repeat([]byte("water "), 999))
	if err != nil {
		t.Fatal(err)
	}
	sum := len(good) - 4 // what a disk has changed may unpack as well
	changed := append(append([]byte(nil), other[:len(other)-4]...), good[sum:]...)
	var u unsqueezer
	for name, data := range map[string][]byte{
		"empty": nil, "cut": good[:len(good)/2], "without its checksum": good[:sum], "changed": changed, "none of ours": []byte("rhizostat"),
	} {
		if _, err := u.unsqueeze(data); err == nil || !strings.Contains(err.Error(), "damaged") {
			t.Errorf("%s: error %v; expected one that says damaged", name, err)
		}
		if out, err := u.unsqueeze(good); err != nil || len(out) != 6000 {
			t.Errorf("after %s: %d bytes of a whole one, error %v; expected 6000", name, len(out), err)
		}
	}
	swells, err := s.squeeze(make([]byte, 4*maxSnapshot))
	if err != nil {
		t.Fatal(err)
	}
	if out, err := u.unsqueeze(swells); len(out) > maxSnapshot {
		t.Errorf("%d bytes swelled to %d, error %v; expected at most %d", len(swells), len(out), err, maxSnapshot)
	}
}
