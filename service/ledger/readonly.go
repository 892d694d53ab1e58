package ledger

import (
	"context"
	"fmt"
)

// OpenReadOnly opens a ledger for looking into it, also while a daemon writes
// it. What would write is an error.
func OpenReadOnly(ctx context.Context, path string) (*Ledger, error) {
	l := &Ledger{path: path, options: Options{}.defaults(), writer: make(chan struct{}, 1), closed: make(chan struct{}), keys: map[place]int64{}}
	fresh, err := isFresh(path)
	if err != nil {
		return nil, err
	}
	if fresh {
		return nil, fmt.Errorf("ledger %s: there is none; expected the file that a daemon writes; set RHIZOSTAT_LEDGER", path)
	}
	if l.read, err = connect(path, l.options.BusyTimeout, true); err != nil {
		return nil, l.fault("open", err)
	}
	l.read.SetMaxOpenConns(readers)
	if err := l.check(ctx); err != nil {
		return nil, closing(err, l.Close)
	}
	return l, nil
}
