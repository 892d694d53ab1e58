package policy

import (
	"bytes"
	"compress/flate"
	"strings"
	"testing"
	"time"
)

// A snapshot of four weeks is still small.
func TestASnapshotIsSmall(t *testing.T) {
	z, _ := lived(t, 28)
	var small bytes.Buffer
	w, err := flate.NewWriter(&small, flate.BestSpeed) // as the ledger gets it
	if err == nil {
		_, err = w.Write(z.Snapshot())
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d bytes", small.Len())
	if n := small.Len(); n > 8<<10 {
		t.Errorf("a snapshot takes %d bytes; expected at most 8 KiB", n)
	}
}

func TestSnapshotsThatCannotBeUsedAreRefused(t *testing.T) {
	z, at := lived(t, 1)
	good := z.Snapshot()
	other := append([]byte(nil), good...)
	other[0]++ // the version
	cases := map[string]struct {
		data []byte
		want string
	}{
		"empty":         {nil, "EOF"},
		"no snapshot":   {[]byte("rhizostat"), "layout"},
		"cut":           {good[:len(good)/2], "EOF"},
		"other version": {other, "layout"},
		"too short":     {good[:40], "EOF"},
		"longer":        {append(append([]byte(nil), good...), "x"...), "follow the plain part"},
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
	raw := z.Snapshot()
	f.Add(raw)
	f.Add(raw[:100])
	f.Add([]byte{})
	s := bench()
	f.Fuzz(func(t *testing.T, data []byte) {
		restored, err := Restore(s, data)
		if err == nil && restored == nil {
			t.Fatal("neither a zone nor an error")
		}
	})
}

// A snapshot whose probes are more than it has is damaged, and refused.
func TestASnapshotOfProbesThatAreNot(t *testing.T) {
	for name, harm := range map[string]func(z *Zone){
		"more that agree": func(z *Zone) { z.m.Panel.Consensus.Count = 9 },
		"an unknown one":  func(z *Zone) { z.m.Panel.Consensus.Members |= 1 << 12 },
		"none":            func(*Zone) {},
	} {
		z, _ := lived(t, 1)
		harm(z)
		if _, err := Restore(bench(), z.Snapshot()); (err != nil) != (name != "none") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
