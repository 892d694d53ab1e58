package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"time"
)

// Reader reads a ledger. It needs no turn and takes no lock: reports read while
// the daemon writes, and see the last commit before they began.
type Reader struct {
	path string
	read *sql.DB
}

// OpenReadOnly opens an existing ledger to read it only, whether a daemon has it
// open or not.
func OpenReadOnly(ctx context.Context, path string) (*Reader, error) {
	fresh, err := isFresh(path)
	if err != nil {
		return nil, err
	}
	if fresh {
		return nil, fmt.Errorf("ledger %s: there is nothing in it; expected the ledger of a daemon that has run; name its path, as in RHIZOSTAT_LEDGER", path)
	}
	r := &Reader{path: path}
	if err := r.connect(defaultBusyTimeout); err != nil {
		return nil, err
	}
	version, err := r.identify(ctx)
	if err == nil && version < len(migrations) {
		err = fmt.Errorf("ledger %s: it has version %d, this program reads %d; start the daemon of this version on it once", path, version, len(migrations))
	}
	if err != nil {
		return nil, closing(err, r.Close)
	}
	return r, nil
}

// readers is how many reads may go on at once.
const readers = 4

func (r *Reader) connect(busy time.Duration) (err error) {
	if r.read, err = connect(r.path, busy, true); err != nil {
		return r.fault("open", err)
	}
	r.read.SetMaxOpenConns(readers)
	return nil
}

// Path is the file of the ledger.
func (r *Reader) Path() string { return r.path }

// Close ends reading.
func (r *Reader) Close() error {
	if r.read == nil {
		return nil
	}
	if err := r.read.Close(); err != nil {
		return r.fault("close", err)
	}
	return nil
}

// check reads an existing ledger for damage.
func (r *Reader) check(ctx context.Context) error {
	if _, err := r.identify(ctx); err != nil {
		return err
	}
	info, err := os.Stat(r.path)
	if err != nil {
		return fmt.Errorf("ledger %s: %w", r.path, err)
	}
	for _, c := range checks(info.Size()) {
		found, err := texts(ctx, r.read, c)
		if err != nil {
			return r.fault("check", err)
		}
		if len(found) != 1 || found[0] != "ok" {
			return r.damage(found)
		}
	}
	return nil
}

// identify refuses what is no ledger, or a newer program's, and gives the
// version of the file.
func (r *Reader) identify(ctx context.Context) (int, error) {
	var id, tables, version int
	for _, q := range [...]struct {
		text string
		to   *int
	}{{`PRAGMA application_id`, &id}, {`PRAGMA user_version`, &version}, {`SELECT count(*) FROM sqlite_schema`, &tables}} {
		if err := r.read.QueryRowContext(ctx, q.text).Scan(q.to); err != nil {
			return 0, r.fault("open", err)
		}
	}
	if id != applicationID && (id != 0 || tables > 0) {
		return 0, fmt.Errorf("ledger %s: it is a SQLite file of another program (application id %#x); expected a ledger; name another path", r.path, id)
	}
	if version > len(migrations) {
		return 0, fmt.Errorf("ledger %s: it has version %d, this program knows up to %d; expected a ledger of this or an older program; start the newer program, or name another path",
			r.path, version, len(migrations))
	}
	return version, nil
}

// closing gives err, with what closing after it came to.
func closing(err error, end func() error) error {
	if e := end(); e != nil {
		return fmt.Errorf("%w (and on closing: %v)", err, e)
	}
	return err
}
