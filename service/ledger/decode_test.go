package ledger

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
)

// FuzzDecodeAdvice: whatever lies in a row of advice is read or refused, and
// what is read is of the row's own zone and can be written again.
func FuzzDecodeAdvice(f *testing.F) {
	good := issued(f, "b", 1)
	body, err := good.Advice.Marshal()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good.Advice.ID, body)
	f.Add("", []byte(`{}`))
	f.Add("x", []byte(`{"id":"x","site":"north","zone":"b","setpoints":{"trigger_by_probe":{"p":1e400}}}`))
	f.Fuzz(func(t *testing.T, id string, body []byte) {
		a, err := decodeAdvice(place{"north", "b"}, id, body)
		if err != nil {
			return
		}
		if a.ID != id || a.Site != "north" || a.Zone != "b" {
			t.Fatalf("row %q gave advice %q of %s/%s", id, a.ID, a.Site, a.Zone)
		}
		if _, err := a.Marshal(); err != nil {
			t.Fatal(err)
		}
	})
}

// FuzzDecodeCover: the same for standing approvals.
func FuzzDecodeCover(f *testing.F) {
	good := full(f, "b").Covers[0]
	body, err := json.Marshal(good)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good.Advice, body)
	f.Add("", []byte(`{"Live":true,"Limits":{"earliest_shot":"24:00"}}`))
	f.Fuzz(func(t *testing.T, id string, body []byte) {
		c, err := decodeCover(place{"north", "b"}, id, body)
		if err == nil && (!c.Live || c.Advice != id || c.Zone != "b") {
			t.Fatalf("row %q gave %+v", id, c)
		}
	})
}

// TestChecks: the checks of a small ledger and of a large one are statements
// that the engine knows, and find nothing in a good one.
func TestChecks(t *testing.T) {
	l := open(t, InMemory)
	for _, size := range []int64{0, smallEnough, smallEnough + 1} {
		for _, c := range checks(size) {
			if found, err := texts(t.Context(), l.read, c); err != nil || len(found) != 1 || found[0] != "ok" {
				t.Errorf("%s: %v, %v", c, found, err)
			}
		}
	}
}

// TestReadOnly: reports read a ledger that a daemon has open, see what it has
// committed, and cannot change it.
func TestReadOnly(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	if _, err := OpenReadOnly(t.Context(), path); err == nil || !strings.Contains(err.Error(), "there is nothing in it") {
		t.Errorf("a ledger that is not there: %v", err)
	}
	l := open(t, path)
	r, err := OpenReadOnly(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := r.Close(); err != nil {
			t.Error(err)
		}
	}()
	b := full(t, "bench-07")
	if err := l.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	history(t, r, &b)
	if _, err := r.read.Exec(`DELETE FROM moves`); err == nil {
		t.Error("a reader has written")
	}
}
