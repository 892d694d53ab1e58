package ledger

import (
	"context"
	"database/sql"
	_ "embed" // the schema
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

//go:embed schema.sql
var schema string

// applicationID marks a SQLite file as a ledger: "rhiz" in ASCII.
const applicationID = 0x7268697a

// migrations bring a ledger from the version of their index to the next. Old
// ones are never edited.
var migrations = [...]string{schema}

// ErrUnavailable is in every error that lies in the file or the disk and not
// in what was to be written: nothing can be recorded for now.
var ErrUnavailable = errors.New("the ledger cannot be written")

// ErrFull is in an ErrUnavailable that space on the disk would mend.
var ErrFull = errors.New("the disk is full")

// connect opens a pool of connections. In WAL mode synchronous=FULL syncs the
// log at every commit, so that a commit survives a power cut; NORMAL would
// survive only a killed process.
func connect(path string, busy time.Duration, readOnly bool) (*sql.DB, error) {
	q := url.Values{}
	q.Add("_pragma", fmt.Sprintf("busy_timeout(%d)", busy.Milliseconds()))
	if readOnly {
		q.Add("_pragma", "query_only(1)")
	} else {
		q.Add("_pragma", "journal_mode(WAL)")
		q.Add("_pragma", "synchronous(FULL)")
		q.Add("_pragma", "journal_size_limit(67108864)")
		q.Add("_txlock", "immediate")
	}
	name := "file:" + (&url.URL{Path: path}).EscapedPath()
	if path == InMemory {
		name = "file:" + InMemory
	}
	return sql.Open("sqlite", name+"?"+q.Encode())
}

// sqliteMagic begins every SQLite file.
const sqliteMagic = "SQLite format 3\x00"

// isFresh tells whether there is nothing at path yet. A file that is not of
// SQLite is refused here, before anything could write into it.
func isFresh(path string) (fresh bool, err error) {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return true, nil
	}
	if err != nil {
		return false, fmt.Errorf("ledger %s: %w; expected a file that this user may read and write", path, err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	head := make([]byte, len(sqliteMagic))
	n, err := io.ReadFull(f, head)
	if n == 0 && errors.Is(err, io.EOF) {
		return true, nil
	}
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false, fmt.Errorf("ledger %s: %w", path, err)
	}
	if string(head[:n]) != sqliteMagic {
		return false, fmt.Errorf("ledger %s: it begins with %q and is not a ledger; expected a file that this program made; name another path", path, head[:n])
	}
	return false, nil
}

// smallEnough is the size up to which every page is checked at the start. A
// larger ledger has only what the daemon needs to go on checked: history for
// years must not hold up a start.
const smallEnough = 256 << 20

// check reads an existing ledger for what it is and for damage.
func (l *Ledger) check(ctx context.Context) error {
	var id, tables, version int64
	for query, to := range map[string]*int64{
		`PRAGMA application_id`:              &id,
		`PRAGMA user_version`:                &version,
		`SELECT count(*) FROM sqlite_schema`: &tables,
	} {
		if err := l.read.QueryRowContext(ctx, query).Scan(to); err != nil {
			return l.fault("open", err)
		}
	}
	if id != applicationID && (id != 0 || tables > 0) {
		return fmt.Errorf("ledger %s: it is a SQLite file of another program (application id %#x); expected a ledger; name another path", l.path, id)
	}
	if version > int64(len(migrations)) {
		return fmt.Errorf("ledger %s: it has version %d, this program knows up to %d; expected a ledger of this or an older program; start the newer program, or name another path",
			l.path, version, len(migrations))
	}
	info, err := os.Stat(l.path)
	if err != nil {
		return fmt.Errorf("ledger %s: %w", l.path, err)
	}
	for _, c := range checks(info.Size()) {
		found, err := texts(ctx, l.read, c)
		if err != nil {
			return l.fault("check", err)
		}
		if len(found) != 1 || found[0] != "ok" {
			return fmt.Errorf("ledger %s: it is damaged (%s); expected a whole file; stop the daemon, put the last copy in its place, and look at the disk: %w",
				l.path, strings.Join(found, "; "), ErrUnavailable)
		}
	}
	return nil
}

// checks are the statements that look for damage in a file of a size.
func checks(size int64) []string {
	if size <= smallEnough {
		return []string{`PRAGMA quick_check(5)`}
	}
	return []string{`PRAGMA quick_check(zones)`, `PRAGMA quick_check(covers)`, `PRAGMA quick_check(meta)`}
}

// texts reads a column of text.
func texts(ctx context.Context, db *sql.DB, query string) (found []string, err error) {
	rows, err := db.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			return nil, err
		}
		found = append(found, s)
	}
	return found, rows.Err()
}

// migrate brings the file to the newest version, in one transaction.
func (l *Ledger) migrate(ctx context.Context) error {
	var version int
	if err := l.write.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&version); err != nil {
		return l.fault("open", err)
	}
	if version == len(migrations) {
		return nil
	}
	tx, err := l.write.BeginTx(ctx, nil)
	if err != nil {
		return l.fault("begin version", err)
	}
	steps := append([]string{fmt.Sprintf(`PRAGMA application_id = %d`, applicationID)}, migrations[version:]...)
	steps = append(steps, fmt.Sprintf(`PRAGMA user_version = %d`, len(migrations)))
	for _, step := range steps {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return closing(l.fault(fmt.Sprintf("bring to version %d", len(migrations)), err), tx.Rollback)
		}
	}
	if err := tx.Commit(); err != nil {
		return l.fault(fmt.Sprintf("bring to version %d", len(migrations)), err)
	}
	return nil
}

// fault gives an error of the file its sentence and its kind.
func (l *Ledger) fault(what string, err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return fmt.Errorf("ledger %s: %s: %w", l.path, what, err)
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("ledger %s: %s: %w (code %d); advice cannot be approved until there is space: %w", l.path, what, ErrFull, e.Code(), ErrUnavailable)
	case sqlite3.SQLITE_IOERR:
		return fmt.Errorf("ledger %s: %s: the disk refused (code %d); advice cannot be approved until it takes writes; look at the space and the health of the disk: %w", l.path, what, e.Code(), ErrUnavailable)
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return fmt.Errorf("ledger %s: %s: it is damaged (code %d); stop the daemon, put the last copy in its place, and look at the disk: %w", l.path, what, e.Code(), ErrUnavailable)
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_AUTH:
		return fmt.Errorf("ledger %s: %s: it may not be written (code %d); expected a file and a folder that this user may write: %w", l.path, what, e.Code(), ErrUnavailable)
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL:
		return fmt.Errorf("ledger %s: %s: another program holds it (code %d); end what has the file open for writing: %w", l.path, what, e.Code(), ErrUnavailable)
	}
	return fmt.Errorf("ledger %s: %s: %w", l.path, what, err)
}
