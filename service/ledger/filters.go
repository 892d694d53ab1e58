package ledger

import "context"

// filterKey begins the keys under which the topic filters stand that a daemon has asked
// the broker for. The broker keeps a session's filters while the daemon is down, and
// tells nobody which they are.
const filterKey, filters = "filter ", "topic filters"

// Filters gives the topic filters that may stand in the broker's session, sorted.
func (l *Ledger) Filters(ctx context.Context) ([]string, error) {
	return l.names(ctx, sortedNames, filterKey, filters)
}

// AddFilters notes filters, before the broker is asked for them.
func (l *Ledger) AddFilters(ctx context.Context, asked []string) error {
	return l.eachName(ctx, addNames, filterKey, filters, asked)
}

// DropFilters forgets filters, once the broker has them no more.
func (l *Ledger) DropFilters(ctx context.Context, dropped []string) error {
	return l.eachName(ctx, dropNames, filterKey, filters, dropped)
}
