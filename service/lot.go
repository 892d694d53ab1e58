package service

import (
	"context"
	"errors"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
)

// lot is what the zones of one shard have decided since the last flush. One
// durable write serves all of it; only then is anything published or
// acknowledged.
type lot struct {
	house   *house
	shard   *shard.Shard
	touched []*worker
	scratch policy.Scratch    // of its engines, which only its goroutine steps
	shelf   *hydraulics.Shelf // likewise

	forecasts int     // that wait for the next flush
	points    int     // likewise
	spares    []*work // of workers that have nothing pending
	text      []byte  // what is published is written here first: how long it gets is not known before
	plain     []byte  // so are snapshots, before they are made small
	behind    *behind // what is published before it is on record; nil: nothing is, as in a replay
}

// maxSpareWork is how many of them are kept; what is beyond was a burst.
const maxSpareWork = 256

// work gives a worker room for what it has to make durable and to publish. At most
// times nearly all have nothing: kept in each it would be as much as all else of it.
func (l *lot) work() *work {
	if len(l.spares) == 0 {
		return new(work)
	}
	last := len(l.spares) - 1
	out := l.spares[last]
	l.spares = l.spares[:last]
	return out
}

// done takes the room back.
func (l *lot) done(w *work) {
	*w = work{}
	if len(l.spares) < maxSpareWork {
		l.spares = append(l.spares, w)
	}
}

// maxForecasts bounds the forecasts that wait for a flush. Each takes 20 KB, more
// than all the rest of its zone, and they are due in all zones at the same time.
const maxForecasts = 128

// maxPoints bounds the points that wait for a flush. A zone that lives through the
// days of an outage has hundreds of them, and all zones do so one after the other.
const maxPoints = 4096

// full says that a flush should not wait.
func (l *lot) full() bool { return l.forecasts >= maxForecasts || l.points >= maxPoints }

// flush makes the lot durable, publishes it and acknowledges it. Where there is somebody
// who writes behind, zones that have decided nothing are published at once.
func (l *lot) flush() {
	l.settleDeferred()
	if len(l.touched) == 0 {
		return
	}
	touched := l.touched
	l.touched, l.forecasts, l.points = nil, 0, 0
	if l.behind != nil {
		if touched = l.publishAtOnce(touched); len(touched) == 0 {
			return
		}
	}
	err := l.commit(touched)
	if err == nil || isFault(err) || len(touched) == 1 {
		conclude(touched, err)
		return
	}
	// it lies in what was to be written of one zone, which must not keep the
	// others from the record
	for _, w := range touched {
		var own ledger.Batch
		w.collect(&own)
		err := l.house.commit(&own)
		if err != nil {
			w.house.log.Error("what a zone decided could not be recorded", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		}
		conclude([]*worker{w}, err)
	}
}

// commit writes what zones have decided, and before it what of the lot waits to be
// written behind, which is older.
func (l *lot) commit(touched []*worker) error {
	var own ledger.Batch
	for _, w := range touched {
		w.collect(&own)
	}
	if l.behind == nil {
		return l.house.commit(&own)
	}
	l.behind.mu.Lock()
	taken := l.behind.take()
	var all ledger.Batch
	for i := range taken {
		taken[i].addTo(&all)
	}
	all.Append(&own)
	if all.Empty() {
		l.behind.mu.Unlock()
		return l.house.recheck()
	}
	wait := l.house.ledger.Enqueue(all)
	l.behind.mu.Unlock()
	err := l.house.written(wait)
	for _, e := range endsOf(taken, err) {
		e.alone = e.alone && own.Empty()
		e.worker.settleDeferred(&e)
	}
	if err != nil && !isFault(err) && len(taken) > 0 { // it may lie in either
		return l.house.commit(&own)
	}
	return err
}

// settleDeferred takes note of what the writer has come to.
func (l *lot) settleDeferred() {
	if l.behind == nil {
		return
	}
	for _, e := range l.behind.settled() {
		e.worker.settleDeferred(&e)
	}
}

// publishAtOnce publishes the zones that have decided nothing since the last flush and
// to which nobody has said anything: nothing that they publish must be on record first. It
// gives those that remain.
func (l *lot) publishAtOnce(touched []*worker) (remain []*worker) {
	fault := l.house.recheck()
	folded := 0
	for _, w := range touched {
		if w.pending.decides() {
			remain = append(remain, w)
			continue
		}
		d := w.defers()
		w.publish(fault)
		w.finish(nil)
		if folded < maxFolded {
			folded += w.fold()
		}
		l.behind.add(d)
	}
	return remain
}

// decides tells whether something of the work must be on record before anything of its
// zone is published: what its desk has moved, and what a person has done, which the
// state and the forecast may rest on.
func (p *work) decides() bool {
	return p.before != nil || !p.changes.Empty() || len(p.outcomes) > 0 || len(p.events) > 0
}

// isFault tells an error of the file or the disk from one of what was to be
// written.
func isFault(err error) bool {
	return errors.Is(err, ledger.ErrUnavailable) || errors.Is(err, context.DeadlineExceeded)
}

// conclude goes on from what has become of a write: all of it is published, or
// none.
func conclude(touched []*worker, err error) {
	for _, w := range touched {
		if err != nil {
			w.revert()
		} else {
			w.recorded()
		}
	}
	folded := 0
	for _, w := range touched {
		w.publish(err)
		w.finish(err)
		if folded < maxFolded {
			folded += w.fold()
		}
	}
}

// maxFolded bounds the advice that are folded in one flush, each in a tenth of a
// millisecond: after a restart those of all zones are due at once, and people wait for
// their answers meanwhile.
const maxFolded = 64

// fold lets advice that only waits take less memory, and says how many that were.
func (w *worker) fold() int {
	n, err := w.desk.Fold()
	if err != nil {
		w.house.log.Error("advice takes more memory than it should", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
	}
	return n
}

// keptPoints are the points of a day, at pointEvery; keptForecasts those of one.
const (
	keptPoints    = 288
	keptForecasts = 1
)

// finish acknowledges what is on record or answered. Events that the ledger did
// not take wait, unacknowledged, for the next flush, for the engine knows of
// them already and nobody is asked to say them again; so do the points of the
// last day and its forecast. What it would never take does not wait: it would keep all that comes
// after it from the record.
func (w *worker) finish(failed error) {
	p := *w.pending
	w.lot.done(w.pending)
	w.pending = nil
	for _, ack := range p.acks {
		ack()
	}
	if isFault(failed) && len(p.events)+len(p.points)+len(p.forecasts) > 0 {
		w.touch()
		w.pending.events, w.pending.told = p.events, p.told
		w.pending.points = p.points[max(0, len(p.points)-keptPoints):]
		w.pending.forecasts = p.forecasts[max(0, len(p.forecasts)-keptForecasts):]
		return
	}
	for _, ack := range p.told {
		ack()
	}
}

// collect adds what must be durable: changes, and with them a snapshot that
// knows of them.
func (w *worker) collect(b *ledger.Batch) {
	p := w.pending
	b.Changes.Add(p.changes)
	b.Events = append(b.Events, p.events...)
	b.Points = append(b.Points, p.points...)
	b.Forecasts = append(b.Forecasts, p.forecasts...)
	if w.aside != nil {
		return
	}
	if !w.snapshotDue() && p.changes.Empty() && len(p.events) == 0 {
		return
	}
	if row := w.row(); row != nil {
		b.Zones = append(b.Zones, *row)
		p.saves = true
	}
}

// snapshotDue tells whether the ledger should have a new snapshot.
func (w *worker) snapshotDue() bool {
	if w.aside != nil {
		return false
	}
	return w.savedAt.IsZero() || w.now.Sub(w.savedAt) >= snapshotEvery || w.newest.Known && !w.savedTotals
}

// row is a snapshot for the ledger, nil where none can be made.
func (w *worker) row() *ledger.ZoneRow {
	row, err := w.snapshot()
	if err != nil {
		w.house.log.Error("zone state was not kept", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		return nil
	}
	w.snapshots++
	return &row
}

// recorded counts what has just become durable.
func (w *worker) recorded() {
	if w.pending.saves {
		w.savedAt, w.savedTotals, w.savedSnapshot = w.now, w.newest.Known, w.snapshots
		w.durable, w.durableSnapshot = w.newest, w.snapshots
	}
	if watch := w.house.watch; watch.of(w) {
		w.show(watch)
	}
	for i := range w.pending.changes.Moves {
		w.house.metrics.Moved(&w.pending.changes.Moves[i])
	}
	for _, a := range w.pending.issued {
		w.house.metrics.Advised(w.settings.Site, a)
	}
}

// commit writes a batch. The time it may take is bounded: a disk that hangs
// must not hold the zones for ever.
func (h *house) commit(b *ledger.Batch) error {
	if b.Empty() {
		return h.recheck()
	}
	return h.written(h.ledger.Enqueue(*b))
}

// written waits for the end of a write.
func (h *house) written(wait func(context.Context) error) error {
	ctx, stop := context.WithTimeout(context.Background(), 30*time.Second)
	defer stop()
	err := wait(ctx)
	if err == nil || isFault(err) {
		h.noteLedger(err)
	}
	return err
}

// recheck asks a ledger that could not be written whether it can be again: with
// nothing to write, its zones would not learn of it for minutes. The ledger
// itself bounds how often it tries.
func (h *house) recheck() error {
	if h.ledgerFault() == nil {
		return nil
	}
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	err := h.ledger.Writable(ctx)
	h.noteLedger(err)
	return err
}
