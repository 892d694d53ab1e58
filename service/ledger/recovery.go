package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"modernc.org/sqlite"

	"rhizostat/service/wire"
)

// ZoneRecord is all that a zone needs to go on after a restart.
type ZoneRecord struct {
	Site, Zone string
	Version    int // of the snapshot's layout; 0 with no snapshot
	At         time.Time
	Snapshot   []byte // nil when the zone has none
	Advice     []wire.AdviceRecord
	Covers     []wire.CoverRecord
	Unreadable []Unreadable // what there is of it beside these
}

// Unreadable is an advice or a standing approval of which nobody can tell any more what
// it said: a disk has damaged it.
type Unreadable struct {
	Advice   string // its id; of a standing approval, of the advice that it was given with
	Sequence int64  // of an advice; 0: a standing approval
	Err      error  // a sentence
}

const (
	readZones  = `SELECT site, zone, version, at, snapshot FROM zones`
	readAdvice = `SELECT site, zone, id, sequence, taken, body, sum FROM advice INDEXED BY advice_live WHERE live = 1`
	readCovers = `SELECT site, zone, advice, body, sum FROM covers WHERE live = 1`

	ofZone = ` AND site = ? AND zone = ?`
)

// Recover gives what is on record of one zone; an empty record when it is new.
func (l *Reader) Recover(ctx context.Context, site, zone string) (ZoneRecord, error) {
	out := ZoneRecord{Site: site, Zone: zone}
	s, err := l.streams(ctx, true, site, zone)
	if err != nil {
		return out, err
	}
	for {
		r, ok, err := s.next()
		if err != nil || !ok {
			return out, errors.Join(l.reading(err), s.close())
		}
		out = r
	}
}

// RecoverAll gives what is on record of every zone, sorted by site and zone,
// until one is refused. Give must not write to a ledger in memory: that has one
// connection.
func (l *Reader) RecoverAll(ctx context.Context, give func(ZoneRecord) error) (err error) {
	s, err := l.streams(ctx, false, "", "")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.close()) }()
	for {
		r, ok, err := s.next()
		if err != nil {
			return l.reading(err)
		}
		if !ok {
			return nil
		}
		if err := give(r); err != nil {
			return err
		}
	}
}

func (l *Reader) reading(err error) error {
	var e *sqlite.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &e), errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return l.fault("read", err)
	}
	return fmt.Errorf("ledger %s: it is damaged: %w; expected what this program wrote; %s", l.path, err, mend)
}

// streams are the three tables read side by side, all in the order of their
// zones, so that memory holds one zone at a time.
type streams struct {
	tx     *sql.Tx
	zones  stream[ZoneRecord]
	advice stream[row[wire.AdviceRecord]]
	covers stream[row[wire.CoverRecord]]
}

// row is what a row says, or that it cannot be read.
type row[T any] struct {
	record T
	bad    *Unreadable
}

// unreadable is the error of a body that is not what this program writes.
type unreadable struct{ error }

func (u unreadable) Unwrap() error { return u.error }

// orBad takes an error that lies in one body for a record that cannot be read; any other
// is one of the whole file.
func (r row[T]) orBad(id string, sequence int64, err error) (row[T], error) {
	var u unreadable
	if errors.As(err, &u) {
		r.bad = &Unreadable{Advice: id, Sequence: sequence, Err: u.error}
		return r, nil
	}
	return r, err
}

func (l *Reader) streams(ctx context.Context, one bool, site, zone string) (*streams, error) {
	// One transaction: the three see the same moment.
	tx, err := l.read.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, l.fault("read", err)
	}
	s := &streams{tx: tx}
	query := func(q, order string) *sql.Rows {
		if err != nil {
			return nil
		}
		var rows *sql.Rows
		if one {
			join := ofZone
			if !strings.Contains(q, "WHERE") {
				join = " WHERE true" + ofZone
			}
			rows, err = tx.QueryContext(ctx, q+join+order, site, zone)
		} else {
			rows, err = tx.QueryContext(ctx, q+order)
		}
		return rows
	}
	s.zones = stream[ZoneRecord]{rows: query(readZones, ` ORDER BY site, zone`), scan: scanZone}
	s.advice = stream[row[wire.AdviceRecord]]{rows: query(readAdvice, ` ORDER BY site, zone, sequence`), scan: scanAdvice}
	s.covers = stream[row[wire.CoverRecord]]{rows: query(readCovers, ` ORDER BY site, zone`), scan: scanCover}
	if err != nil {
		return nil, closing(l.fault("read", err), s.close)
	}
	return s, nil
}

func (s *streams) close() error {
	return errors.Join(s.zones.close(), s.advice.close(), s.covers.close(), s.tx.Rollback())
}

// next gives the next zone that any of the tables has.
func (s *streams) next() (ZoneRecord, bool, error) {
	if err := errors.Join(s.zones.fill(), s.advice.fill(), s.covers.fill()); err != nil {
		return ZoneRecord{}, false, err
	}
	at, ok := earliest(s.zones.at, s.advice.at, s.covers.at)
	if !ok {
		return ZoneRecord{}, false, nil
	}
	out := ZoneRecord{Site: at.site, Zone: at.zone}
	for s.zones.is(at) {
		out = s.zones.take()
		if err := s.zones.fill(); err != nil {
			return out, false, err
		}
	}
	for s.advice.is(at) {
		if r := s.advice.take(); r.bad != nil {
			out.Unreadable = append(out.Unreadable, *r.bad)
		} else {
			out.Advice = append(out.Advice, r.record)
		}
		if err := s.advice.fill(); err != nil {
			return out, false, err
		}
	}
	for s.covers.is(at) {
		if r := s.covers.take(); r.bad != nil {
			out.Unreadable = append(out.Unreadable, *r.bad)
		} else {
			out.Covers = append(out.Covers, r.record)
		}
		if err := s.covers.fill(); err != nil {
			return out, false, err
		}
	}
	return out, true, nil
}

// stream reads rows with one row of looking ahead.
type stream[T any] struct {
	rows  *sql.Rows
	scan  func(*sql.Rows) (place, T, error)
	at    *place // of the row ahead, nil before and after the last
	ahead T
	ended bool
}

func (s *stream[T]) is(p place) bool { return s.at != nil && *s.at == p }

func (s *stream[T]) take() T {
	s.at = nil
	return s.ahead
}

func (s *stream[T]) fill() error {
	if s.at != nil || s.ended {
		return nil
	}
	if !s.rows.Next() {
		s.ended = true
		return s.rows.Err()
	}
	p, v, err := s.scan(s.rows)
	if err != nil {
		return err
	}
	s.at, s.ahead = &p, v
	return nil
}

func (s *stream[T]) close() error {
	if s.rows == nil {
		return nil
	}
	return s.rows.Close()
}

// earliest gives the first of the places in the order of SQLite's text.
func earliest(places ...*place) (place, bool) {
	var first *place
	for _, p := range places {
		if p != nil && (first == nil || p.site < first.site || p.site == first.site && p.zone < first.zone) {
			first = p
		}
	}
	if first == nil {
		return place{}, false
	}
	return *first, true
}

func scanZone(rows *sql.Rows) (place, ZoneRecord, error) {
	var z ZoneRecord
	var at int64
	err := rows.Scan(&z.Site, &z.Zone, &z.Version, &at, &z.Snapshot)
	z.At = milli(at)
	return place{z.Site, z.Zone}, z, err
}

func scanAdvice(rows *sql.Rows) (p place, out row[wire.AdviceRecord], err error) {
	r := &out.record
	var id, taken string
	var body sql.RawBytes
	var sum any
	if err := rows.Scan(&p.site, &p.zone, &id, &r.Sequence, &taken, &body, &sum); err != nil {
		return p, out, err
	}
	if err = asWritten(fmt.Sprintf("advice %s of %s/%s", id, p.site, p.zone), r.Sequence, taken, body, sum); err == nil {
		r.Advice, err = decodeAdvice(p, id, body)
	}
	r.Taken = splitTaken(taken)
	out, err = out.orBad(id, r.Sequence, err)
	return p, out, err
}

func splitTaken(s string) []string {
	if s == "" {
		return nil
	}
	return strings.Split(s, " ")
}

// decodeAdvice reads the body of an advice row and holds it against the row.
func decodeAdvice(p place, id string, body []byte) (*wire.Advice, error) {
	a, err := wire.ParseAdvice(body)
	if err != nil {
		return nil, unreadable{fmt.Errorf("advice %s of %s/%s: %w", id, p.site, p.zone, err)}
	}
	if a.ID != id || a.Site != p.site || a.Zone != p.zone {
		return nil, fmt.Errorf("advice %s of %s/%s: its body is of %s of %s/%s; expected the same", id, p.site, p.zone, a.ID, a.Site, a.Zone)
	}
	return a, nil
}

func scanCover(rows *sql.Rows) (p place, out row[wire.CoverRecord], err error) {
	var id string
	var body sql.RawBytes
	var sum any
	if err := rows.Scan(&p.site, &p.zone, &id, &body, &sum); err != nil {
		return p, out, err
	}
	if err = asWritten(fmt.Sprintf("standing approval %s of %s/%s", id, p.site, p.zone), 0, "", body, sum); err == nil {
		out.record, err = decodeCover(p, id, body)
	}
	out, err = out.orBad(id, 0, err)
	return p, out, err
}

// decodeCover reads the body of a row of covers and holds it against the row.
func decodeCover(p place, id string, body []byte) (wire.CoverRecord, error) {
	var c wire.CoverRecord
	if err := json.Unmarshal(body, &c); err != nil {
		return c, unreadable{fmt.Errorf("standing approval %s of %s/%s: %w", id, p.site, p.zone, err)}
	}
	if c.Advice != id || c.Site != p.site || c.Zone != p.zone || !c.Live {
		return c, fmt.Errorf("standing approval %s of %s/%s: its body is of %s of %s/%s, live %v; expected the same", id, p.site, p.zone, c.Advice, c.Site, c.Zone, c.Live)
	}
	return c, nil
}
