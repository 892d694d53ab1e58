package ledger

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestRefusedFiles: each file that is no ledger of ours is left as it is and
// refused with a sentence.
func TestRefusedFiles(t *testing.T) {
	dir := t.TempDir()
	made := func(name string, change func(path string)) string {
		path := filepath.Join(dir, name)
		change(path)
		return path
	}
	sqlFile := func(statements ...string) func(string) {
		return func(path string) {
			db, err := sql.Open("sqlite", path)
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range statements {
				if _, err := db.Exec(s); err != nil {
					t.Fatal(err)
				}
			}
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	write := func(content string) func(string) {
		return func(path string) {
			if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, c := range []struct{ name, path, want string }{
		{"not SQLite", made("text", write("site: north\nzones: {}\n")), "is not a ledger"},
		{"another program's", made("other", sqlFile(`CREATE TABLE t (a)`)), "of another program"},
		{"newer", made("newer", sqlFile(fmt.Sprintf(`PRAGMA application_id = %d`, applicationID), `PRAGMA user_version = 99`)), "it has version 99"},
		{"cut short", made("short", func(path string) { damaged(t, path, func(b []byte) []byte { return b[:len(b)*2/3] }) }), "it is damaged"},
		{"overwritten", made("holes", func(path string) {
			damaged(t, path, func(b []byte) []byte {
				copy(b[len(b)/2:], make([]byte, 4096))
				return b
			})
		}), "it is damaged"},
		{"no folder", filepath.Join(dir, "nowhere", "ledger.db"), "a folder that is there"},
		{"a folder", dir, "ledger"},
		{"no path", "", "no path"},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, _ := os.ReadFile(c.path) // a folder and a missing file have none
			l, err := Open(t.Context(), c.path, Options{})
			if err == nil {
				t.Fatal(errors.Join(errors.New("it was opened"), l.Close()))
			}
			if !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "failed to") {
				t.Errorf("it says %q, want %q in it", err, c.want)
			}
			if after, _ := os.ReadFile(c.path); string(before) != string(after) {
				t.Error("the file was changed")
			}
		})
	}
}

// damaged makes a ledger of some pages and changes its bytes.
func damaged(t *testing.T, path string, change func([]byte) []byte) {
	t.Helper()
	l, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 50 {
		if err := l.Commit(t.Context(), full(t, fmt.Sprint("z", i))); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, change(b), 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestOneDaemon: a second opening is refused while the first is open.
func TestOneDaemon(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	l := open(t, path)
	if _, err := Open(t.Context(), path, Options{}); err == nil || !strings.Contains(err.Error(), "another daemon has it open") {
		t.Errorf("a second opening gave %v", err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	open(t, path)
}

// TestSQLiteVersion: before 3.51.3 a reset of the write-ahead log could damage
// a database. Source: sqlite.org, release notes of 3.51.3 (memory of the notes;
// the version is the engine's own answer).
func TestSQLiteVersion(t *testing.T) {
	var got string
	l := open(t, InMemory)
	if err := l.read.QueryRow(`SELECT sqlite_version()`).Scan(&got); err != nil {
		t.Fatal(err)
	}
	var v [3]int
	if _, err := fmt.Sscanf(got, "%d.%d.%d", &v[0], &v[1], &v[2]); err != nil {
		t.Fatal(err)
	}
	if slices.Compare(v[:], []int{3, 51, 3}) < 0 {
		t.Errorf("SQLite %s; want 3.51.3 or later", got)
	}
}

// TestDurability: the promises rest on these settings of the connection that
// writes.
func TestDurability(t *testing.T) {
	l := open(t, filepath.Join(t.TempDir(), "ledger.db"))
	for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "user_version": fmt.Sprint(len(migrations))} {
		got, err := texts(t.Context(), l.write, "PRAGMA "+pragma)
		if err != nil || len(got) != 1 || got[0] != want {
			t.Errorf("%s is %v (%v), want %s", pragma, got, err, want)
		}
	}
}

// TestRemoved: a file that was taken away from under the daemon is no record any
// more, whatever SQLite says; put back, it is one again.
func TestRemoved(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(t *testing.T, path, away string) error
	}{
		{"moved away", func(_ *testing.T, path, away string) error { return os.Rename(path, away) }},
		{"replaced by a copy", func(_ *testing.T, path, away string) error {
			b, err := os.ReadFile(path)
			return errors.Join(err, os.Rename(path, away), os.WriteFile(path, b, 0o600))
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "ledger.db")
			l, err := Open(t.Context(), path, Options{ProbeEvery: time.Nanosecond})
			if err != nil {
				t.Fatal(err)
			}
			defer l.Close()
			if err := l.Commit(t.Context(), full(t, "a")); err != nil {
				t.Fatal(err)
			}
			if err := c.change(t, path, path+".away"); err != nil {
				t.Fatal(err)
			}
			for what, err := range map[string]error{"a commit": l.Commit(t.Context(), full(t, "b")), "Writable": l.Writable(t.Context())} {
				if !errors.Is(err, ErrUnavailable) || !strings.Contains(err.Error(), "removed or replaced") {
					t.Errorf("%s says %v", what, err)
				}
			}
			if err := os.Rename(path+".away", path); err != nil {
				t.Fatal(err)
			}
			if err := errors.Join(l.Writable(t.Context()), l.Commit(t.Context(), full(t, "b"))); err != nil {
				t.Errorf("with the file put back: %v", err)
			}
		})
	}
}

// TestTheLogStays: what SQLite needs beside the file in order to read it is there
// after an orderly end, for a start on a disk without any room.
func TestTheLogStays(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	l, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(l.Commit(t.Context(), full(t, "a")), l.Close()); err != nil {
		t.Fatal(err)
	}
	for end, want := range map[string]int64{"-wal": 0, "-shm": 32768} {
		info, err := os.Stat(path + end)
		if err != nil || info.Size() != want {
			t.Errorf("%s: %+v, %v; want %d bytes", end, info, err, want)
		}
	}
}

// What a check finds is told in one line, and no more of it than a person reads.
func TestDamageIsOneSentence(t *testing.T) {
	r := &Reader{path: "l.db"}
	got := r.damage([]string{"*** in database main ***\nPage 3: never used\nPage 4: never used", "wrong # of entries in index moves_at", "a", "b"}).Error()
	const want = "ledger l.db: it is damaged (Page 3: never used; Page 4: never used; wrong # of entries in index moves_at; 2 more); expected a whole file; "
	if !strings.HasPrefix(got, want+mend) {
		t.Errorf("%q, want it to begin with %q", got, want+mend)
	}
}
