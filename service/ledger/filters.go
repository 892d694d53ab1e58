package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
)

// filterKey begins the keys under which the topic filters stand that a daemon has asked
// the broker for. The broker keeps a session's filters while the daemon is down, and
// tells nobody which they are.
const filterKey = "filter "

// Filters gives the topic filters that may stand in the broker's session, sorted.
func (l *Ledger) Filters(ctx context.Context) ([]string, error) {
	rows, err := l.write.QueryContext(ctx, `SELECT key FROM meta WHERE key >= ? AND key < ? ORDER BY key`, filterKey, "filter!")
	if err != nil {
		return nil, l.fault("read the filters", err)
	}
	defer rows.Close()
	var filters []string
	for rows.Next() {
		var key string
		if err := rows.Scan(&key); err != nil {
			return nil, l.fault("read the filters", err)
		}
		filters = append(filters, strings.TrimPrefix(key, filterKey))
	}
	if err := rows.Err(); err != nil {
		return nil, l.fault("read the filters", err)
	}
	return filters, nil
}

// AddFilters notes filters, before the broker is asked for them.
func (l *Ledger) AddFilters(ctx context.Context, filters []string) error {
	return l.eachFilter(ctx, `INSERT INTO meta (key, value) SELECT ? || value, 1 FROM json_each(?) WHERE true ON CONFLICT DO NOTHING`, filters)
}

// DropFilters forgets filters, once the broker has them no more.
func (l *Ledger) DropFilters(ctx context.Context, filters []string) error {
	return l.eachFilter(ctx, `DELETE FROM meta WHERE key IN (SELECT ? || value FROM json_each(?))`, filters)
}

// eachFilter runs one statement over all of them.
func (l *Ledger) eachFilter(ctx context.Context, q string, filters []string) error {
	if len(filters) == 0 {
		return nil
	}
	list, err := json.Marshal(filters)
	if err != nil {
		return fmt.Errorf("ledger %s: topic filters: %w", l.path, err)
	}
	_, err = l.alone(ctx, q, filterKey, string(list))
	return err
}
