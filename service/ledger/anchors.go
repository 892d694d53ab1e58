package ledger

import "context"

// anchorKey begins the keys under which the sites stand that a daemon's session of
// telemetry has been named after. The broker keeps a session while the daemon is down,
// by its name alone.
const anchorKey, anchors = "anchor ", "names of telemetry sessions"

// Anchors gives the sites after which the broker may have a session of telemetry, the
// one named last first.
func (l *Ledger) Anchors(ctx context.Context) ([]string, error) {
	return l.names(ctx, `SELECT key FROM meta WHERE key >= ? AND key < ? ORDER BY value DESC`, anchorKey, anchors)
}

// AddAnchor notes the site that the session of telemetry is named after from now on,
// before the broker has that session.
func (l *Ledger) AddAnchor(ctx context.Context, site string) error {
	const q = `INSERT INTO meta (key, value)
SELECT ?1 || ?2, 1 + coalesce((SELECT max(value) FROM meta WHERE key >= ?1 AND key < 'anchor!'), 0) WHERE true
ON CONFLICT (key) DO UPDATE SET value = excluded.value`
	_, err := l.alone(ctx, q, anchorKey, site)
	return err
}

// DropAnchors forgets sites, once the broker has no session named after them.
func (l *Ledger) DropAnchors(ctx context.Context, sites []string) error {
	return l.eachName(ctx, dropNames, anchorKey, anchors, sites)
}
