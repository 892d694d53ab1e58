package service

import (
	"bytes"
	"context"
	"time"

	"rhizostat/service/wire"
)

// isDouble tells whether an event has been taken before: a broker that was not told
// so, because the daemon was killed between the record and the word of it, sends
// it again. The ledger has every event with the batch that took it, and it is as
// rare as what people do by hand, so it is asked. An event without a time of its own
// is never a double: two waterings may be told in the same words.
func (w *worker) isDouble(e *wire.Event, payload []byte) bool {
	if own, err := wire.ParseEvent(payload, time.Time{}); err != nil || own.Time.IsZero() {
		return false
	}
	said, err := e.Marshal()
	if err != nil {
		return false // it was read from less
	}
	same := func(other *wire.Event) bool {
		b, err := other.Marshal()
		return err == nil && bytes.Equal(b, said)
	}
	for i := range w.pending.events {
		if same(&w.pending.events[i].Event) {
			return true
		}
	}
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	known, err := w.house.ledger.Events(ctx, w.settings.Site, w.settings.Zone, e.Time, e.Time)
	if err != nil {
		// better one too many than none of what a person did
		w.house.warnings.warn(w.house.log, "not-held-against-the-record", "event not held against the record: it may count twice", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		return false
	}
	for i := range known {
		if same(&known[i]) {
			return true
		}
	}
	return false
}
