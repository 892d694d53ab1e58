package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"time"

	"rhizostat/service/wire"
)

// Batch is what is made durable together: all of it, or none.
type Batch struct {
	wire.Changes
	Events    []EventRow
	Zones     []ZoneRow
	Points    []Point
	Forecasts []Forecast
}

// Empty tells whether there is nothing to write.
func (b *Batch) Empty() bool {
	return b.Changes.Empty() && len(b.Events) == 0 && len(b.Zones) == 0 && len(b.Points) == 0 && len(b.Forecasts) == 0
}

// Append appends another batch, which becomes durable with this one.
func (b *Batch) Append(more *Batch) {
	b.Changes.Add(more.Changes)
	b.Events = append(b.Events, more.Events...)
	b.Zones = append(b.Zones, more.Zones...)
	b.Points = append(b.Points, more.Points...)
	b.Forecasts = append(b.Forecasts, more.Forecasts...)
}

// EventRow is something a person did to a zone.
type EventRow struct {
	Site, Zone string
	Event      wire.Event
}

// ZoneRow is what a zone needs to go on; the ledger keeps the last one.
type ZoneRow struct {
	Site, Zone string
	Version    int // of the snapshot's layout
	At         time.Time
	Snapshot   []byte
}

// request is a batch that waits to be written. Done gets its end, once.
type request struct {
	batch *Batch
	probe bool       // a trial write, batch is nil
	room  bool       // a trial of much
	done  chan error // buffered
}

// queue holds the requests that wait.
type queue struct {
	mu       sync.Mutex
	requests []*request
	closed   error
}

func (q *queue) put(r *request) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.closed != nil {
		return q.closed
	}
	q.requests = append(q.requests, r)
	return nil
}

// maxGroup bounds the batches of one transaction, so that the first of them
// does not wait for a flood.
const maxGroup = 1024

func (q *queue) take() []*request {
	q.mu.Lock()
	defer q.mu.Unlock()
	n := min(len(q.requests), maxGroup)
	group := q.requests[:n:n]
	if q.requests = q.requests[n:]; len(q.requests) == 0 {
		q.requests = nil // else what was written is held until the next commit: the snapshots of many zones
	}
	return group
}

// drop takes a request back; false when somebody has begun to write it.
func (q *queue) drop(r *request) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	i := slices.Index(q.requests, r)
	if i >= 0 {
		q.requests = slices.Delete(slices.Clone(q.requests), i, i+1)
	}
	return i >= 0
}

func (q *queue) refuse(err error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.closed = err
	for _, r := range q.requests {
		r.done <- err
	}
	q.requests = nil
}

// Commit makes a batch durable and returns once it is. Callers that come while
// another writes wait together, and the first to get its turn writes for all
// of them. An error means that nothing of the batch is on record: once a write
// has begun, the end of ctx no longer ends the wait. (A disk that refuses the
// sync itself leaves one gap: killed before its next commit, SQLite may find
// the refused one whole in its log.)
func (l *Ledger) Commit(ctx context.Context, b Batch) error {
	return l.Enqueue(b)(ctx)
}

// Enqueue puts a batch behind those that wait, without waiting itself: batches become
// durable in the order in which they were enqueued. What it returns is to be called once,
// and is the rest of Commit; nothing is written before somebody waits.
func (l *Ledger) Enqueue(b Batch) (wait func(context.Context) error) {
	if b.Empty() {
		return func(context.Context) error { return nil }
	}
	r := &request{batch: &b, done: make(chan error, 1)}
	if err := l.waiting.put(r); err != nil {
		return func(context.Context) error { return err }
	}
	return func(ctx context.Context) error { return l.await(ctx, r) }
}

func (l *Ledger) submit(ctx context.Context, r *request) error {
	if err := l.waiting.put(r); err != nil {
		return err
	}
	return l.await(ctx, r)
}

// await waits for the end of a request, and writes what waits when its turn comes.
func (l *Ledger) await(ctx context.Context, r *request) error {
	for {
		select {
		case err := <-r.done:
			return err
		case <-l.writer:
			l.group(l.waiting.take())
			l.writer <- struct{}{}
		case <-ctx.Done():
			if !l.waiting.drop(r) {
				return <-r.done
			}
			return fmt.Errorf("ledger %s: the wait for a commit ended: %w", l.path, ctx.Err())
		}
	}
}

// group writes requests in one transaction. If that fails for a reason that
// lies in one of them, each is tried on its own, so that none fails for
// another's fault.
func (l *Ledger) group(group []*request) {
	if len(group) == 0 {
		return
	}
	err := l.transaction(group)
	l.noted(err)
	if err != nil && len(group) > 1 && !errors.Is(err, ErrUnavailable) {
		for _, r := range group {
			err := l.transaction([]*request{r})
			l.noted(err)
			r.done <- err
		}
		return
	}
	for _, r := range group {
		r.done <- err
	}
}

// transaction writes requests, all or none. It does not end early with any
// caller's context: the others' batches are in it too.
func (l *Ledger) transaction(group []*request) (err error) {
	if err := l.there(); err != nil {
		return err
	}
	ctx := context.Background()
	tx, err := l.write.BeginTx(ctx, nil)
	if err != nil {
		return l.fault("begin a commit", err)
	}
	w := &rows{ctx: ctx, tx: tx, ledger: l, epoch: l.epoch.Load()}
	if !l.begun {
		w.begin()
	}
	for _, r := range group {
		w.request(r)
	}
	if w.err != nil {
		return l.abandon(tx, w)
	}
	if err := tx.Commit(); err != nil {
		w.err, w.at = err, "commit"
		return l.abandon(tx, w)
	}
	l.begun = true
	l.epoch.Store(w.epoch)
	return nil
}

// there tells whether the file that was opened is still the one at the path. One
// that was removed or replaced takes writes as ever, and is gone with the process:
// SQLite does not look.
func (l *Ledger) there() error {
	if l.file == nil {
		return nil
	}
	now, err := os.Stat(l.path)
	if err == nil && os.SameFile(now, l.file) {
		return nil
	}
	what := "another file is there"
	if err != nil {
		what = err.Error()
	}
	return fmt.Errorf("ledger %s: it has been removed or replaced (%s); expected the file that this daemon has open; put it back, or restart the daemon on what is there: %w", l.path, what, ErrUnavailable)
}

// abandon rolls a failed transaction back and says why it failed.
func (l *Ledger) abandon(tx *sql.Tx, w *rows) error {
	for _, p := range w.fresh {
		delete(l.keys, p) // their rows are rolled back
	}
	for _, s := range w.sets {
		delete(l.sets, s)
	}
	err := l.fault(w.at, w.err)
	if e := tx.Rollback(); e != nil && !errors.Is(e, sql.ErrTxDone) {
		return fmt.Errorf("%w (and on rolling back: %v)", err, e)
	}
	return err
}

// noted remembers what the last write came to, for Writable.
func (l *Ledger) noted(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.probed = time.Now()
	if err == nil || errors.Is(err, ErrUnavailable) {
		l.broken = err
	}
}

// Writable tells whether the ledger can be written, by the last write if that
// is recent, else by one of its own. It serves readiness checks and whatever
// must say why nothing can be approved.
func (l *Ledger) Writable(ctx context.Context) error {
	l.mu.Lock()
	recent := time.Since(l.probed) < l.options.ProbeEvery
	err := l.broken
	l.mu.Unlock()
	if recent {
		return err
	}
	return l.submit(ctx, &request{probe: true, room: err != nil, done: make(chan error, 1)})
}
