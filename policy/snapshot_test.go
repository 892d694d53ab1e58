package policy

import (
	"strings"
	"testing"
	"time"

	"rhizostat/policy/hydraulics"
)

// A snapshot of four weeks is still small.
func TestASnapshotIsSmall(t *testing.T) {
	z, _ := lived(t, 28)
	if n := len(z.Snapshot()); n > 8<<10 {
		t.Errorf("a snapshot takes %d bytes; expected at most 8 KiB", n)
	}
}

func TestSnapshotsThatCannotBeUsedAreRefused(t *testing.T) {
	z, at := lived(t, 1)
	good := z.Snapshot()
	raw, err := unsqueeze(good)
	if err != nil {
		t.Fatal(err)
	}
	other := append([]byte(nil), raw...)
	other[0]++ // the version
	cases := map[string]struct {
		data []byte
		want string
	}{
		"empty":         {nil, "damaged"},
		"no snapshot":   {[]byte("rhizostat"), "damaged"},
		"cut":           {good[:len(good)/2], "damaged"},
		"other version": {squeeze(other), "layout"},
		"too short":     {squeeze(raw[:40]), "EOF"},
		"longer":        {squeeze(append(append([]byte(nil), raw...), "x"...)), "follow the fixed part"},
	}
	for name, c := range cases {
		if _, err := Restore(bench(), c.data); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v; expected one with %q", name, err, c.want)
		}
	}
	// a probe more: it starts anew, the zone goes on
	s := bench()
	s.Probes = append(s.Probes, Probe{ID: "p3", HeightCM: 12})
	again, err := Restore(s, good)
	if err != nil {
		t.Fatal(err)
	}
	again.Step(Event{Kind: Wake, At: at.Add(time.Minute)})
}

// Whatever the ledger holds, restoring it never panics.
func FuzzRestore(f *testing.F) {
	z, _ := lived(f, 2)
	raw, err := unsqueeze(z.Snapshot())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(raw)
	f.Add(raw[:100])
	f.Add([]byte{})
	s := bench()
	s.Shelf = new(hydraulics.Shelf)
	f.Fuzz(func(t *testing.T, data []byte) {
		restored, err := Restore(s, squeeze(data))
		if err == nil && restored == nil {
			t.Fatal("neither a zone nor an error")
		}
	})
}
