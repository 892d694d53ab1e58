package service

import (
	"context"
	"sync"
	"time"

	"rhizostat/policy"
	"rhizostat/service/ledger"
)

// deferred is what of a zone is written after its state has been published: what it
// learned and what reports will tell. Nothing that anybody acts on names it; after a
// kill it is learned again, and of a report a few minutes are missing.
type deferred struct {
	worker    *worker
	engine    *policy.Zone // whose snapshot it is
	number    int          // of the snapshot, in the order they were taken
	totals    tally
	row       *ledger.ZoneRow // nil: no snapshot is due
	points    []ledger.Point
	forecasts []ledger.Forecast
}

func (d *deferred) addTo(b *ledger.Batch) {
	if d.row != nil {
		b.Zones = append(b.Zones, *d.row)
	}
	b.Points = append(b.Points, d.points...)
	b.Forecasts = append(b.Forecasts, d.forecasts...)
}

// size is about what it takes in memory, bytes.
func (d *deferred) size() int {
	const point, forecast = 256, 5 << 10
	n := len(d.points)*point + len(d.forecasts)*forecast
	if d.row != nil {
		n += len(d.row.Snapshot)
	}
	return n
}

// maxBehind bounds what waits to be written behind, bytes; once it is reached the zones
// wait for the disk. As much again may be on its way there.
const maxBehind = 4 << 20

// behindEvery is how long what may be written behind is gathered: a sync of the disk
// costs the same for one zone and for all.
const behindEvery = 250 * time.Millisecond

// behind is what the zones of a lot have published before it is on record, and what
// became of it. Its writer is a goroutine of its own, and all else is the lot's.
type behind struct {
	mu      sync.Mutex
	room    sync.Cond // something of what waits has been taken
	waiting []deferred
	size    int // of what waits
	ended   []ended
	poke    chan struct{} // something waits
	hurry   chan struct{} // there is no room
}

// ended is what became of something deferred.
type ended struct {
	deferred
	err   error
	alone bool // it was written alone: an error lies in it
}

// endsOf is what became of all that was written together. What nobody needs any more is
// let go: the zones may take a while to look.
func endsOf(taken []deferred, err error) []ended {
	out := make([]ended, len(taken))
	for i, d := range taken {
		if d.row != nil && (err == nil || isFault(err)) {
			d.row.Snapshot = nil
		}
		if err == nil {
			d.points, d.forecasts = nil, nil
		}
		out[i] = ended{d, err, len(taken) == 1}
	}
	return out
}

func newBehind() *behind {
	b := &behind{poke: make(chan struct{}, 1), hurry: make(chan struct{}, 1)}
	b.room.L = &b.mu
	return b
}

func signalOn(c chan<- struct{}) {
	select {
	case c <- struct{}{}:
	default: // it is known already
	}
}

// add leaves something to the writer, and waits while there is no room.
func (b *behind) add(d deferred) {
	if d.row == nil && len(d.points) == 0 && len(d.forecasts) == 0 {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for b.size >= maxBehind {
		signalOn(b.hurry)
		signalOn(b.poke)
		b.room.Wait()
	}
	b.waiting = append(b.waiting, d)
	b.size += d.size()
	signalOn(b.poke)
}

// take takes all that waits; mu is held.
func (b *behind) take() []deferred {
	taken := b.waiting
	b.waiting, b.size = nil, 0
	b.room.Broadcast()
	return taken
}

// run writes what is left to it until ctx ends, and then the rest.
func (b *behind) run(ctx context.Context, h *house) {
	for {
		select {
		case <-ctx.Done():
			b.write(h)
			return
		case <-b.poke:
		}
		pause := time.NewTimer(behindEvery)
		select {
		case <-ctx.Done():
		case <-b.hurry:
		case <-pause.C:
		}
		pause.Stop()
		b.write(h)
	}
}

// write writes what waits, in one transaction.
func (b *behind) write(h *house) {
	b.mu.Lock()
	taken := b.take()
	var batch ledger.Batch
	for i := range taken {
		taken[i].addTo(&batch)
	}
	if batch.Empty() {
		b.mu.Unlock()
		return
	}
	// in its place in the ledger's queue before anything newer of these zones can be
	wait := h.ledger.Enqueue(batch)
	b.mu.Unlock()
	ends := endsOf(taken, h.written(wait))
	b.mu.Lock()
	defer b.mu.Unlock()
	b.ended = append(b.ended, ends...)
}

// tryAlone writes something whose write has failed for what may lie in another zone's part
// of it. It is for the lot's goroutine: nothing newer of the zone can be on its way, and a
// snapshot that a newer one has followed stays away.
func (e *ended) tryAlone(h *house) {
	e.alone = true
	if w := e.worker; e.row != nil && e.number != w.snapshots {
		if e.row = nil; e.number == w.savedSnapshot { // the newer one is not on record yet
			w.savedAt = time.Time{}
		}
	}
	var own ledger.Batch
	e.addTo(&own)
	if e.err = nil; !own.Empty() {
		e.err = h.written(h.ledger.Enqueue(own))
	}
}

// settled takes what became of what was deferred, in the zones' own goroutine.
func (b *behind) settled() []ended {
	b.mu.Lock()
	defer b.mu.Unlock()
	out := b.ended
	b.ended = nil
	return out
}

// defers takes what of the pending work may be written behind.
func (w *worker) defers() deferred {
	p := w.pending
	d := deferred{worker: w, points: p.points, forecasts: p.forecasts}
	if w.snapshotDue() {
		if d.row = w.row(); d.row != nil {
			d.engine, d.totals, d.number = w.engine, w.newest, w.snapshots
			w.savedAt, w.savedTotals, w.savedSnapshot = w.now, w.newest.Known, w.snapshots // none is due while it is written
		}
	}
	p.points, p.forecasts = nil, nil
	return d
}

// settleDeferred takes what became of something deferred. What a fault has kept from the record
// waits for the next flush, as far as it is worth its memory.
func (w *worker) settleDeferred(e *ended) {
	if e.err != nil && !isFault(e.err) && !e.alone {
		e.tryAlone(w.house)
	}
	switch {
	case e.err == nil:
		if e.row != nil && e.engine == w.engine && e.number > w.durableSnapshot {
			w.durable, w.durableSnapshot = e.totals, e.number
		}
		return
	case e.row != nil && e.number == w.savedSnapshot:
		w.savedAt = time.Time{} // it is due again
	}
	if !isFault(e.err) {
		w.house.log.Error("what a zone measured could not be recorded", "site", w.settings.Site, "zone", w.settings.Zone, "error", e.err)
		return
	}
	if len(e.points)+len(e.forecasts) == 0 {
		return
	}
	w.touch()
	p := w.pending
	p.points, p.forecasts = append(e.points, p.points...), append(e.forecasts, p.forecasts...)
	p.points = p.points[max(0, len(p.points)-keptPoints):]
	p.forecasts = p.forecasts[max(0, len(p.forecasts)-keptForecasts):]
}
