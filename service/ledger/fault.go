package ledger

import (
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// ErrUnavailable is in every error that lies in the file or the disk and not
// in what was to be written: nothing can be recorded for now.
var ErrUnavailable = errors.New("the ledger cannot be written")

// ErrFull is in an ErrUnavailable that space on the disk would mend.
var ErrFull = errors.New("the disk is full")

// errRefused is in an ErrUnavailable that lies in the disk, maybe for want of space
// too: a quota says no more.
var errRefused = errors.New("the disk refused")

// told is how much of what a check finds is told: the rest says no more to a person.
const told = 3

// damage says what a check of the file has found, line by line.
func (r *Reader) damage(found []string) error {
	var lines []string
	for _, text := range found {
		lines = append(lines, slices.DeleteFunc(strings.Split(text, "\n"), func(line string) bool {
			return strings.TrimSpace(line) == "" || strings.HasPrefix(line, "***") // a heading
		})...)
	}
	if more := len(lines) - told; more > 0 {
		lines = append(lines[:told], fmt.Sprint(more, " more"))
	}
	return fmt.Errorf("ledger %s: it is damaged (%s); expected a whole file; %s: %w", r.path, strings.Join(lines, "; "), mend, ErrUnavailable)
}

// mend is what to do with a damaged ledger.
const mend = "stop the daemon, put the last copy in its place, and look at the disk"

// unprepared is the error of a statement that does not fit the tables: it does those
// that we make.
func (r *Reader) unprepared(err error) error {
	var e *sqlite.Error
	if errors.As(err, &e) && e.Code()&0xff == sqlite3.SQLITE_ERROR {
		return fmt.Errorf("ledger %s: it is damaged, its tables are not as they were made: %w; %s: %w", r.path, err, mend, ErrUnavailable)
	}
	return r.fault("prepare", err)
}

// fault gives an error of the file its sentence and its kind.
func (r *Reader) fault(what string, err error) error {
	var e *sqlite.Error
	if errors.Is(err, sql.ErrNoRows) { // of what every ledger has
		return fmt.Errorf("ledger %s: %s: it is damaged (a row is missing); expected a whole file; %s: %w", r.path, what, mend, ErrUnavailable)
	}
	if !errors.As(err, &e) {
		return fmt.Errorf("ledger %s: %s: %w", r.path, what, err)
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_ERROR: // our statements fit the tables that we make
		return r.unprepared(err)
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("ledger %s: %s: %w (code %d); advice cannot be approved until there is space: %w", r.path, what, ErrFull, e.Code(), ErrUnavailable)
	case sqlite3.SQLITE_IOERR:
		return fmt.Errorf("ledger %s: %s: %w (code %d); advice cannot be approved until it takes writes; look at the space and the health of the disk: %w", r.path, what, errRefused, e.Code(), ErrUnavailable)
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return fmt.Errorf("ledger %s: %s: it is damaged (code %d); %s: %w", r.path, what, e.Code(), mend, ErrUnavailable)
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_AUTH:
		return fmt.Errorf("ledger %s: %s: it may not be written (code %d); expected a file and a folder that this user may write: %w", r.path, what, e.Code(), ErrUnavailable)
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL:
		return fmt.Errorf("ledger %s: %s: another program holds it (code %d); end what has the file open for writing: %w", r.path, what, e.Code(), ErrUnavailable)
	}
	return fmt.Errorf("ledger %s: %s: %w", r.path, what, err)
}
