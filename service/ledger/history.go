package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"

	"rhizostat/policy"
	"rhizostat/service/wire"
)

// Zone is a zone that the ledger knows.
type Zone struct{ Site, Zone string }

// Zones lists the zones that anything is on record of, sorted by site and zone.
func (r *Reader) Zones(ctx context.Context) ([]Zone, error) {
	return query(ctx, r, "zones", `SELECT site, zone FROM zones UNION SELECT site, zone FROM zone_keys
UNION SELECT DISTINCT site, zone FROM advice ORDER BY site, zone`,
		func(rows *sql.Rows) (z Zone, err error) { return z, rows.Scan(&z.Site, &z.Zone) })
}

// Moves gives the moves of a zone's approvals from a time to another, both
// included, in the order they were made.
func (r *Reader) Moves(ctx context.Context, site, zone string, from, to time.Time) ([]wire.Move, error) {
	return query(ctx, r, "moves", `SELECT site, zone, advice, digest, "from", "to", at, by, note, under
FROM moves WHERE site = ? AND zone = ? AND at BETWEEN ? AND ? ORDER BY at, rowid`, scanMove, site, zone, from.UnixMilli(), to.UnixMilli())
}

func scanMove(rows *sql.Rows) (m wire.Move, err error) {
	var before, after string
	var at int64
	err = rows.Scan(&m.Site, &m.Zone, &m.Advice, &m.Digest, &before, &after, &at, &m.By, &m.Note, &m.Under)
	m.From, m.To, m.At = policy.ApprovalState(before), policy.ApprovalState(after), milli(at)
	return m, err
}

// Advice gives the advice issued for a zone from a time to another, both
// included, in order, each as it stands now.
func (r *Reader) Advice(ctx context.Context, site, zone string, from, to time.Time) ([]*wire.Advice, error) {
	return query(ctx, r, "advice", `SELECT id, body FROM advice
WHERE site = ? AND zone = ? AND issued_at BETWEEN ? AND ? ORDER BY issued_at, sequence`,
		func(rows *sql.Rows) (*wire.Advice, error) {
			var id string
			var body sql.RawBytes
			if err := rows.Scan(&id, &body); err != nil {
				return nil, err
			}
			return decodeAdvice(place{site, zone}, id, body)
		}, site, zone, from.UnixMilli(), to.UnixMilli())
}

// Decisions gives the decisions on a zone's advice from a time to another, both
// included, in the order they came.
func (r *Reader) Decisions(ctx context.Context, site, zone string, from, to time.Time) ([]wire.DecisionRecord, error) {
	return query(ctx, r, "decisions", `SELECT site, zone, hash, signed, body FROM decisions
WHERE site = ? AND zone = ? AND at BETWEEN ? AND ? ORDER BY at, rowid`, scanDecision, site, zone, from.UnixMilli(), to.UnixMilli())
}

func scanDecision(rows *sql.Rows) (d wire.DecisionRecord, err error) {
	var body sql.RawBytes
	if err := rows.Scan(&d.Site, &d.Zone, &d.Hash, &d.Signed, &body); err != nil {
		return d, err
	}
	var in decided
	if err := json.Unmarshal(body, &in); err != nil {
		return d, fmt.Errorf("decision of %s/%s: %w", d.Site, d.Zone, err)
	}
	d.Decision, d.Result = in.Decision, in.Result
	return d, nil
}

// Events gives what people did to a zone from a time to another, both included,
// in order.
func (r *Reader) Events(ctx context.Context, site, zone string, from, to time.Time) ([]wire.Event, error) {
	return query(ctx, r, "events", `SELECT body FROM events WHERE site = ? AND zone = ? AND at BETWEEN ? AND ? ORDER BY at, rowid`,
		func(rows *sql.Rows) (e wire.Event, err error) {
			var body sql.RawBytes
			if err := rows.Scan(&body); err != nil {
				return e, err
			}
			if err := json.Unmarshal(body, &e); err != nil {
				return e, fmt.Errorf("event of %s/%s: %w", site, zone, err)
			}
			return e, nil
		}, site, zone, from.UnixMilli(), to.UnixMilli())
}

// query reads all rows of a query.
func query[T any](ctx context.Context, l *Reader, what, q string, scan func(*sql.Rows) (T, error), args ...any) (out []T, err error) {
	rows, err := l.read.QueryContext(ctx, q, args...)
	if err != nil {
		return nil, l.fault("read "+what, err)
	}
	defer func() {
		if e := rows.Close(); e != nil && err == nil {
			err = l.fault("read "+what, e)
		}
	}()
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, l.fault("read "+what, err)
		}
		out = append(out, v)
	}
	if err := rows.Err(); err != nil {
		return nil, l.fault("read "+what, err)
	}
	return out, nil
}

// Prune drops what is older than the options keep. It works in small
// transactions between the commits of others; call it about once an hour.
func (l *Ledger) Prune(ctx context.Context, now time.Time) error {
	for _, table := range [...]string{"points", "forecasts"} {
		first, last, err := l.hours(ctx, table)
		if err != nil {
			return err
		}
		end := min(last+1, now.Add(-l.options.KeepPoints).Unix()/secondsPerHour)
		for hour := first; hour < end; hour++ {
			if _, err := l.alone(ctx, `DELETE FROM `+table+` WHERE hour = ?`, hour); err != nil {
				return err
			}
		}
	}
	if l.options.KeepHistory == 0 {
		return nil
	}
	before := now.Add(-l.options.KeepHistory).UnixMilli()
	for _, q := range [...]string{
		`DELETE FROM advice WHERE rowid IN (SELECT rowid FROM advice WHERE live = 0 AND valid_until < ? LIMIT 1000)`,
		`DELETE FROM moves WHERE rowid IN (SELECT rowid FROM moves WHERE at < ? LIMIT 1000)`,
		`DELETE FROM decisions WHERE rowid IN (SELECT rowid FROM decisions WHERE at < ? LIMIT 1000)`,
		`DELETE FROM events WHERE rowid IN (SELECT rowid FROM events WHERE at < ? LIMIT 1000)`,
	} {
		for {
			n, err := l.alone(ctx, q, before)
			if err != nil {
				return err
			}
			if n == 0 {
				break
			}
		}
	}
	return nil
}

// alone runs one statement with the writer's turn and tells how many rows it
// touched.
func (l *Ledger) alone(ctx context.Context, q string, args ...any) (int64, error) {
	select {
	case <-l.writer:
	case <-l.closed:
		return 0, l.isClosed()
	case <-ctx.Done():
		return 0, fmt.Errorf("ledger %s: the wait for a turn to write ended: %w", l.path, ctx.Err())
	}
	defer func() { l.writer <- struct{}{} }()
	if err := l.there(); err != nil {
		return 0, err
	}
	result, err := l.write.ExecContext(ctx, q, args...)
	if err != nil {
		return 0, l.fault("write", err)
	}
	return result.RowsAffected()
}
