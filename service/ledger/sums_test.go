package ledger

import (
	"strings"
	"testing"
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
