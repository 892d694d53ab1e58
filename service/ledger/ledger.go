// Package ledger is the durable record of advice, decisions, operator events
// and zone state: one SQLite file in WAL mode with full sync. Commit returns
// once a batch is on the disk; the batches of callers that wait at the same
// time share one transaction, and so one sync. What is committed is there after
// a kill at any instruction.
//
// A ledger that cannot be written says so with ErrUnavailable (ErrFull when
// the disk is full), goes on answering reads, and recovers by itself once there
// is space.
package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"modernc.org/sqlite"
)

// InMemory is the path of a ledger that lives as long as the process: for a
// replay that is given none.
const InMemory = ":memory:"

// Options of a ledger; the zero value has the defaults.
type Options struct {
	KeepPoints  time.Duration // how long points and forecasts are kept; 0: 90 days
	KeepHistory time.Duration // how long closed advice, moves, decisions and events are kept; 0: for ever
	ProbeEvery  time.Duration // Writable writes at most this often; 0: 5 s
	BusyTimeout time.Duration // waiting for another program that holds the file; 0: 5 s
}

// The defaults; common practice, no source.
const (
	defaultKeepPoints  = 90 * 24 * time.Hour
	defaultProbeEvery  = 5 * time.Second
	defaultBusyTimeout = 5 * time.Second
)

func (o Options) defaults() Options {
	if o.KeepPoints == 0 {
		o.KeepPoints = defaultKeepPoints
	}
	if o.ProbeEvery == 0 {
		o.ProbeEvery = defaultProbeEvery
	}
	if o.BusyTimeout == 0 {
		o.BusyTimeout = defaultBusyTimeout
	}
	return o
}

// Ledger is an open ledger. Its methods may be called from any goroutine.
type Ledger struct {
	Reader
	options Options
	epoch   atomic.Int64
	begun   bool        // this start is counted; of whoever writes
	lock    *os.File    // nil in memory
	file    os.FileInfo // of what was opened, nil in memory
	write   *sql.DB     // one connection; in memory it reads too

	writer  chan struct{} // holds one token: who has it writes
	closed  chan struct{}
	waiting queue
	insert  *statements      // of whoever writes
	keys    map[place]int64  // zone_keys, of whoever writes
	sets    map[string]int64 // probe_sets, of whoever writes

	mu     sync.Mutex // guards the two below
	probed time.Time  // last write that was tried
	broken error      // what it came to
}

// place is a zone of a site.
type place struct{ site, zone string }

// Open opens the ledger in the file at path, making it where there is none. It
// refuses a file that another daemon has open, that is damaged, that is not a
// ledger, or that a newer program has written.
func Open(ctx context.Context, path string, o Options) (*Ledger, error) {
	l := &Ledger{Reader: Reader{path: path}, options: o.defaults(), writer: make(chan struct{}, 1), closed: make(chan struct{}), keys: map[place]int64{}, sets: map[string]int64{}}
	if err := l.open(ctx); err != nil {
		return nil, closing(err, l.Close)
	}
	l.writer <- struct{}{}
	return l, nil
}

func (l *Ledger) open(ctx context.Context) (err error) {
	if l.path == "" {
		return fmt.Errorf("ledger: no path; expected a file, or %s", InMemory)
	}
	fresh := l.path == InMemory
	if !fresh {
		if fresh, err = isFresh(l.path); err != nil {
			return err
		}
		if l.lock, err = lock(l.path); err != nil {
			return err
		}
	}
	if l.path != InMemory {
		if err := l.Reader.connect(l.options.BusyTimeout); err != nil {
			return err
		}
	}
	if !fresh {
		// Through the connection that only reads: a file that turns out not to
		// be ours is left as it is.
		if err := l.check(ctx); err != nil {
			return err
		}
	}
	if l.write, err = connect(l.path, l.options.BusyTimeout, false); err != nil {
		return l.fault("open", err)
	}
	l.write.SetMaxOpenConns(1)
	if err := l.keepLog(ctx); err != nil {
		return err
	}
	if l.path == InMemory {
		l.read = l.write
	}
	if err := l.migrate(ctx); err != nil {
		return err
	}
	if err := l.begin(); err != nil {
		return err
	}
	l.insert, err = prepare(ctx, l.write)
	if err != nil {
		return l.unprepared(err)
	}
	if l.path != InMemory {
		if l.file, err = os.Stat(l.path); err != nil {
			return fmt.Errorf("ledger %s: %w", l.path, err)
		}
	}
	return nil
}

// keepLog lets the log and its index stay at the end, empty: on a disk without any
// room they could not be made anew, and without them nothing can be read.
func (l *Ledger) keepLog(ctx context.Context) error {
	if l.path == InMemory {
		return nil
	}
	conn, err := l.write.Conn(ctx)
	if err != nil {
		return l.fault("open", err)
	}
	defer conn.Close() // it goes back to the pool of one
	err = conn.Raw(func(driver any) error {
		control, ok := driver.(sqlite.FileControl)
		if !ok {
			return fmt.Errorf("the driver has no file controls; expected %T to have them", driver)
		}
		_, err := control.FileControlPersistWAL("main", 1)
		return err
	})
	if err != nil {
		return l.fault("open", err)
	}
	return nil
}

// begin counts this start of a daemon. A disk that takes nothing is no reason not
// to start: what is on record can be read, and what stands goes on to its end. The
// start is then counted by the first write that succeeds.
func (l *Ledger) begin() error {
	err := l.transaction(nil)
	if errors.Is(err, ErrFull) || errors.Is(err, errRefused) {
		l.noted(err)
		return nil
	}
	return err
}

// Epoch is how many times the ledger has been opened for writing, this time
// included; 0 while nothing could be written since. It stands in each move and
// decision.
func (l *Ledger) Epoch() int64 { return l.epoch.Load() }

// Close ends the ledger. Commits that wait get an error.
func (l *Ledger) Close() error {
	var first error
	keep := func(err error) {
		if first == nil && err != nil {
			first = l.fault("close", err)
		}
	}
	if l.insert != nil {
		<-l.writer // whoever writes finishes first; nobody gets the token again
		close(l.closed)
		l.waiting.refuse(l.isClosed())
		keep(l.insert.close())
		l.insert = nil
	}
	if l.read != nil && l.read != l.write {
		keep(l.read.Close())
	}
	if l.write != nil {
		keep(l.write.Close())
	}
	if l.lock != nil {
		keep(l.lock.Close()) // after the database: the next daemon finds it whole
		l.lock = nil
	}
	return first
}

func (l *Ledger) isClosed() error { return fmt.Errorf("ledger %s: it is closed", l.path) }
