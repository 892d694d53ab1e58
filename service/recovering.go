package service

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"

	"rhizostat/service/ledger"
)

// Taking back what the ledger has of tens of thousands of zones takes many seconds of a
// processor: the lots do it side by side. What they have to say is said afterwards, in the
// order of the ledger, so that it is the same each time.

// restorer takes back the zones of one lot, one after the other.
type restorer struct {
	unsqueezer
	records chan numbered
	number  int // of the record that it is at
	said    []saying
	leftOut int   // of what the ledger has, for nobody can read it
	failed  error // of the record that it is at: it goes no further
}

// numbered is a record with its place in the order of the ledger.
type numbered struct {
	number int
	worker *worker
	record ledger.ZoneRecord
}

// saying is a line of the log that waits for its turn.
type saying struct {
	number  int // of the record
	level   slog.Level
	message string
	about   []any
}

// recordsAhead are those that may wait for a lot: each has an advice or two, 20 KB.
const recordsAhead = 32

func (r *restorer) say(level slog.Level, message string, about ...any) {
	r.said = append(r.said, saying{r.number, level, message, about})
}

// run takes back what comes until there is no more, or one cannot be.
func (r *restorer) run(h *house, failed *atomic.Bool) {
	for n := range r.records {
		if r.failed != nil {
			continue // whoever gives is about to stop
		}
		r.number = n.number
		if r.failed = n.worker.restore(n.record, r); r.failed != nil {
			failed.Store(true)
			continue
		}
		h.metrics.Waiting(n.worker.zone, n.worker)
	}
}

var errNotTakenBack = errors.New("a zone could not be taken back")

// recover takes back what the ledger has of every zone.
func (h *house) recover(ctx context.Context) error {
	byName := make(map[string]*worker, len(h.workers))
	for _, w := range h.workers {
		byName[w.settings.Site+"/"+w.settings.Zone] = w
	}
	restorers := map[*lot]*restorer{}
	var running sync.WaitGroup
	var failed atomic.Bool
	for _, l := range h.lots {
		r := &restorer{records: make(chan numbered, recordsAhead)}
		restorers[l] = r
		running.Go(func() { r.run(h, &failed) })
	}
	number := 0
	err := h.ledger.RecoverAll(ctx, func(r ledger.ZoneRecord) error {
		w := byName[r.Site+"/"+r.Zone]
		if w == nil {
			return nil // a zone that the sites no longer have; its record stays
		}
		number++
		restorers[w.lot].records <- numbered{number, w, r}
		if failed.Load() {
			return errNotTakenBack
		}
		return nil
	})
	var said []saying
	leftOut := 0
	for _, r := range restorers {
		close(r.records)
	}
	running.Wait()
	first := number + 1
	for _, r := range restorers {
		said = append(said, r.said...)
		leftOut += r.leftOut
		if r.failed != nil && r.number < first {
			first, err = r.number, r.failed
		}
	}
	slices.SortStableFunc(said, func(a, b saying) int { return cmp.Compare(a.number, b.number) })
	for _, s := range said {
		h.log.Log(ctx, s.level, s.message, s.about...)
	}
	h.metrics.LedgerUnreadable(leftOut)
	return err
}
