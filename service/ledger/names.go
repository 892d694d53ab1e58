package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
)

// Names that the broker keeps while the daemon is down stand in meta, each behind a prefix
// that ends with a space.

// addNames notes names, each once; dropNames forgets them.
const (
	addNames  = `INSERT INTO meta (key, value) SELECT ? || value, 1 FROM json_each(?) WHERE true ON CONFLICT DO NOTHING`
	dropNames = `DELETE FROM meta WHERE key IN (SELECT ? || value FROM json_each(?))`
)

// sortedNames finds the names behind a prefix.
const sortedNames = `SELECT key FROM meta WHERE key >= ? AND key < ? ORDER BY key`

// names gives the names that a query finds between a prefix and its end; what is what an
// error calls them.
func (l *Ledger) names(ctx context.Context, query, prefix, what string) ([]string, error) {
	rows, err := l.write.QueryContext(ctx, query, prefix, strings.TrimSuffix(prefix, " ")+"!") // the character after the space
	if err != nil {
		return nil, l.fault("read the "+what, err)
	}
	defer rows.Close()
	var names []string
	for rows.Next() {
		var key string
		if err := rows.Scan(&key); err != nil {
			return nil, l.fault("read the "+what, err)
		}
		names = append(names, strings.TrimPrefix(key, prefix))
	}
	if err := rows.Err(); err != nil {
		return nil, l.fault("read the "+what, err)
	}
	return names, nil
}

// eachName runs one statement over all names.
func (l *Ledger) eachName(ctx context.Context, statement, prefix, what string, names []string) error {
	if len(names) == 0 {
		return nil
	}
	list, err := json.Marshal(names)
	if err != nil {
		return fmt.Errorf("ledger %s: %s: %w", l.path, what, err)
	}
	_, err = l.alone(ctx, statement, prefix, string(list))
	return err
}
