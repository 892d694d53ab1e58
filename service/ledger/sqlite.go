package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"time"

	_ "modernc.org/sqlite" // the driver
)

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
