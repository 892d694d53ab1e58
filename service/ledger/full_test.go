//go:build unix

package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// whole checks that each decision is on record with all that belongs to it, and
// gives how many there are beyond those acknowledged.
func whole(t *testing.T, l *Ledger, acknowledged int) int {
	t.Helper()
	var approvals, moves, decisions int
	err := l.read.QueryRow(`SELECT (SELECT count(*) FROM advice WHERE state = 'approved'),
(SELECT count(*) FROM moves JOIN advice ON advice.site = moves.site AND advice.zone = moves.zone AND advice.id = moves.advice AND advice.digest = moves.digest),
(SELECT count(*) FROM decisions)`).Scan(&approvals, &moves, &decisions)
	if err != nil {
		t.Fatal(err)
	}
	if approvals != moves || approvals != decisions {
		t.Errorf("%d approved advice, %d moves with an advice, %d decisions: one was recorded without the others", approvals, moves, decisions)
	}
	if approvals < acknowledged {
		t.Errorf("%d decisions on record, %d were acknowledged", approvals, acknowledged)
	}
	return approvals - acknowledged
}

// fillDisk writes until the process may not enlarge its files any more, reads,
// gets more room, and writes again; it says what was wrong, "ok" if nothing.
func fillDisk(path string) string {
	ctx := context.Background()
	signal.Ignore(syscall.SIGXFSZ) // the write then returns EFBIG
	l, err := Open(ctx, path, Options{ProbeEvery: time.Nanosecond})
	if err != nil {
		return err.Error()
	}
	var before unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_FSIZE, &before); err != nil {
		return err.Error()
	}
	if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: 1 << 20, Max: before.Max}); err != nil {
		return err.Error()
	}
	t := new(testing.T)
	n := 0
	for err == nil && n < 10_000 {
		n++
		err = l.Commit(ctx, decision(t, "b", n))
	}
	if !errors.Is(err, ErrUnavailable) || !strings.Contains(err.Error(), "advice cannot be approved") {
		return fmt.Sprintf("commit %d of a full disk gave %v", n, err)
	}
	refused := n
	if err := l.Writable(ctx); !errors.Is(err, ErrUnavailable) {
		return fmt.Sprintf("a full disk is said to be writable: %v", err)
	}
	r, err := l.Recover(ctx, "north", "b")
	if err != nil || len(r.Advice) != 1 || r.Advice[0].Sequence != int64(refused-1) {
		return fmt.Sprintf("reading a full ledger gave %+v, %v; want advice %d", r.Advice, err, refused-1)
	}
	if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &before); err != nil {
		return err.Error()
	}
	if err := l.Writable(ctx); err != nil {
		return fmt.Sprintf("with room again: %v", err)
	}
	if err := l.Commit(ctx, decision(t, "b", refused)); err != nil {
		return fmt.Sprintf("a commit with room again: %v", err)
	}
	if err := l.Close(); err != nil {
		return err.Error()
	}
	return fmt.Sprint("ok ", refused)
}

// TestDiskFull: a disk that takes no more is said to be so, reads go on, what
// was acknowledged is there, and writing goes on when there is room.
func TestDiskFull(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	out, err := child(t, "fill", path).Output()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	var written int
	if _, err := fmt.Sscanf(string(out), "ok %d", &written); err != nil {
		t.Fatalf("the child says %s", out)
	}
	l := open(t, path)
	if more := whole(t, l, written); more != 0 {
		t.Errorf("%d decisions are on record that were refused", more)
	}
}

// TestFull: SQLite's own word for a full disk has its own error; the limit on
// pages stands for the disk's end.
func TestFull(t *testing.T) {
	l := open(t, filepath.Join(t.TempDir(), "ledger.db"))
	if _, err := l.write.Exec(`PRAGMA max_page_count = 40`); err != nil {
		t.Fatal(err)
	}
	var err error
	for n := 1; err == nil && n < 1000; n++ {
		err = l.Commit(t.Context(), decision(t, "b", n))
	}
	if !errors.Is(err, ErrFull) || !errors.Is(err, ErrUnavailable) {
		t.Fatalf("got %v, want %v", err, ErrFull)
	}
	if err := l.Writable(t.Context()); !errors.Is(err, ErrFull) {
		t.Errorf("right after, Writable says %v", err)
	}
	if _, err := l.write.Exec(`PRAGMA max_page_count = 1000000`); err != nil {
		t.Fatal(err)
	}
	if err := l.Commit(t.Context(), decision(t, "c", 1)); err != nil {
		t.Fatal(err)
	}
	if err := l.Writable(t.Context()); err != nil {
		t.Errorf("after a commit Writable says %v", err)
	}
}

// startFull opens a ledger on a disk that is full, reads it, gets more room, and
// writes; it says what was wrong, "ok" if nothing.
func startFull(path string) string {
	ctx := context.Background()
	signal.Ignore(syscall.SIGXFSZ) // the write then returns EFBIG
	var before unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_FSIZE, &before); err != nil {
		return err.Error()
	}
	const index = 32768 // what SQLite needs to read beside a log
	if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: index, Max: before.Max}); err != nil {
		return err.Error()
	}
	l, err := Open(ctx, path, Options{ProbeEvery: time.Nanosecond})
	if err != nil {
		return err.Error()
	}
	t := new(testing.T)
	for what, err := range map[string]error{"a commit": l.Commit(ctx, decision(t, "b", 2)), "Writable": l.Writable(ctx)} {
		if !errors.Is(err, ErrUnavailable) || !strings.Contains(err.Error(), "advice cannot be approved") {
			return fmt.Sprintf("started on a full disk, %s gave %v", what, err)
		}
	}
	if r, err := l.Recover(ctx, "north", "b"); err != nil || len(r.Advice) != 1 {
		return fmt.Sprintf("reading gave %+v, %v", r.Advice, err)
	}
	if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &before); err != nil {
		return err.Error()
	}
	if err := errors.Join(l.Writable(ctx), l.Commit(ctx, decision(t, "b", 2))); err != nil {
		return fmt.Sprintf("with room again: %v", err)
	}
	if l.Epoch() != 2 {
		return fmt.Sprintf("with room again the start is number %d, want 2", l.Epoch())
	}
	if err := l.Close(); err != nil {
		return err.Error()
	}
	return "ok"
}

// TestStartOnAFullDisk: what is on record can be read though nothing can be
// written, and the start is counted once there is room.
func TestStartOnAFullDisk(t *testing.T) {
	dir := t.TempDir()
	l := open(t, filepath.Join(dir, "ledger.db"))
	if err := l.Commit(t.Context(), decision(t, "b", 1)); err != nil {
		t.Fatal(err)
	}
	killed := filepath.Join(dir, "killed.db") // as a daemon leaves it that was killed
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(filepath.Join(dir, "ledger.db"+end))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(killed+end, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out, err := child(t, "start", killed).Output()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	if got := strings.TrimSpace(string(out)); got != "ok" {
		t.Error(got)
	}
}
