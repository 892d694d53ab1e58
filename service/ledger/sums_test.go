package ledger

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// What a disk has changed in a record is seen though it reads well: of a standing approval
// its limits, of an advice who approved it and which decisions were taken. One of before
// has no checksum and is read.
func TestWhatWasNotWritten(t *testing.T) {
	const setting = `UPDATE covers SET body = CAST(replace(CAST(body AS TEXT), '1800', '7800') AS BLOB)`
	for name, c := range map[string]struct {
		damage         string
		advice, covers int // that can be read
	}{
		"nothing":                 {`UPDATE advice SET taken = taken`, 1, 1},
		"a limit":                 {setting, 1, 0},
		"a limit, no checksum":    {setting + `, sum = NULL`, 1, 1},
		"who approved":            {`UPDATE advice SET body = CAST(replace(CAST(body AS TEXT), '"ana"', '"anb"') AS BLOB)`, 0, 1},
		"what was taken":          {`UPDATE advice SET taken = taken || 'f'`, 0, 1},
		"the order of issue":      {`UPDATE advice SET sequence = sequence + 1`, 0, 1},
		"the checksum of advice":  {`UPDATE advice SET sum = sum + 1`, 0, 1},
		"the checksum of a cover": {`UPDATE covers SET sum = sum + 1`, 1, 0},
		"a text for a checksum":   {`UPDATE advice SET sum = 'sum'`, 0, 1},
		"a blob for a checksum":   {`UPDATE covers SET sum = x'00ff'`, 1, 0},
	} {
		t.Run(name, func(t *testing.T) {
			l := open(t, InMemory)
			if err := l.Commit(t.Context(), full(t, "b")); err != nil {
				t.Fatal(err)
			}
			if r, err := l.write.Exec(c.damage); err != nil {
				t.Fatal(err)
			} else if n, err := r.RowsAffected(); err != nil || n != 1 {
				t.Fatalf("%d rows were damaged (%v), want one", n, err)
			}
			r, err := l.Recover(t.Context(), "north", "b")
			if err != nil || len(r.Advice) != c.advice || len(r.Covers) != c.covers || len(r.Unreadable) != 2-c.advice-c.covers {
				t.Fatalf("%d advice, %d standing approvals, unreadable %+v (%v)", len(r.Advice), len(r.Covers), r.Unreadable, err)
			}
			for _, u := range r.Unreadable {
				if u.Advice == "" || (u.Sequence > 0) != (c.advice == 0) || !strings.Contains(u.Err.Error(), "of north/b: it is not what was written") {
					t.Errorf("unreadable is %+v", u)
				}
			}
		})
	}
}

// A ledger of version 2 goes on with all that it has, which gets its checksums as it is
// written anew.
func TestALedgerWithoutChecksums(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	l, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	b := full(t, "b")
	if err := l.Commit(t.Context(), b); err != nil {
		t.Fatal(err)
	}
	want, err := l.Recover(t.Context(), "north", "b")
	if err != nil || len(want.Advice) != 1 || len(want.Covers) != 1 {
		t.Fatalf("%+v (%v), want an advice and a standing approval", want, err)
	}
	for _, s := range []string{`ALTER TABLE advice DROP COLUMN sum`, `ALTER TABLE covers DROP COLUMN sum`, `PRAGMA user_version = 2`} {
		if _, err := l.write.Exec(s); err != nil {
			t.Fatal(s, err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenReadOnly(t.Context(), path); err == nil || !strings.Contains(err.Error(), "it has version 2") {
		t.Errorf("a report of a ledger that no daemon has brought up to date: %v", err)
	}
	l = open(t, path)
	got, err := l.Recover(t.Context(), "north", "b")
	if diff := cmp.Diff(want, got, sameTimes); diff != "" || err != nil {
		t.Errorf("recovered (-want +got): %v\n%s", err, diff)
	}
	summed := func() (n int) {
		t.Helper()
		if err := l.write.QueryRow(`SELECT (SELECT count(sum) FROM advice) + (SELECT count(sum) FROM covers)`).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	if n := summed(); n != 0 {
		t.Errorf("%d records have a checksum that nobody wrote", n)
	}
	again := Batch{}
	again.Advice, again.Covers = b.Advice[1:], b.Covers
	if err := l.Commit(t.Context(), again); err != nil {
		t.Fatal(err)
	}
	if n := summed(); n != 2 {
		t.Errorf("%d of 2 records that were written anew have a checksum", n)
	}
	if got, err = l.Recover(t.Context(), "north", "b"); err != nil || len(got.Unreadable) > 0 || len(got.Advice) != 1 || len(got.Covers) != 1 {
		t.Errorf("written anew it is %+v (%v)", got, err)
	}
}
