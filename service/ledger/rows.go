package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"rhizostat/service/wire"
)

// The statements that write.
const (
	writeAdvice = `INSERT INTO advice (site, zone, id, sequence, state, digest, issued_at, valid_until, live, taken, body, sum)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, 1, ?, ?, ?)
ON CONFLICT (site, zone, id) DO UPDATE SET state = excluded.state, taken = excluded.taken, body = excluded.body, sum = excluded.sum
WHERE digest = excluded.digest AND sequence = excluded.sequence`
	writeForgotten = `UPDATE advice SET live = 0 WHERE site = ? AND zone = ? AND id = ?`
	writeMove      = `INSERT INTO moves (site, zone, advice, digest, "from", "to", at, by, note, under, epoch) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`
	writeDecision  = `INSERT INTO decisions (site, zone, advice, at, result, code, hash, signed, body, epoch) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`
	writeCover     = `INSERT INTO covers (site, zone, advice, live, body, sum) VALUES (?, ?, ?, ?, ?, ?)
ON CONFLICT (site, zone, advice) DO UPDATE SET live = excluded.live, body = excluded.body, sum = excluded.sum`
	writeEvent = `INSERT INTO events (site, zone, at, kind, body) VALUES (?, ?, ?, ?, ?)`
	writeZone  = `INSERT INTO zones (site, zone, version, at, snapshot) VALUES (?, ?, ?, ?, ?)
ON CONFLICT (site, zone) DO UPDATE SET version = excluded.version, at = excluded.at, snapshot = excluded.snapshot`
	writeKey = `INSERT INTO zone_keys (site, zone) VALUES (?, ?)
ON CONFLICT (site, zone) DO UPDATE SET site = excluded.site RETURNING key`
	writeSet = `INSERT INTO probe_sets (ids) VALUES (?)
ON CONFLICT (ids) DO UPDATE SET ids = excluded.ids RETURNING key`
	writePoint = `INSERT OR REPLACE INTO points (hour, zone, second, water_content, full_point, refill_point, air_filled_porosity,
saturation_s, irrigation_ml, drain_ml, uptake_ml, pore_ec, temperature, deviation, probe_set, probes)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`
	writeProbe = `UPDATE meta SET value = value + 1 WHERE key = 'probe'`
	writeRoom  = `UPDATE room SET filler = zeroblob(262144)`
)

// statements are the above, prepared once.
type statements struct {
	advice, forgotten, move, decision, cover, event, zone, key, set, point, forecast, probe, room *sql.Stmt
}

func (s *statements) each() []**sql.Stmt {
	return []**sql.Stmt{&s.advice, &s.forgotten, &s.move, &s.decision, &s.cover, &s.event, &s.zone, &s.key, &s.set, &s.point, &s.forecast, &s.probe, &s.room}
}

func prepare(ctx context.Context, db *sql.DB) (*statements, error) {
	s := new(statements)
	texts := [...]string{writeAdvice, writeForgotten, writeMove, writeDecision, writeCover, writeEvent, writeZone, writeKey, writeSet, writePoint, writeForecast, writeProbe, writeRoom}
	for i, p := range s.each() {
		var err error
		if *p, err = db.PrepareContext(ctx, texts[i]); err != nil {
			return nil, closing(err, s.close)
		}
	}
	return s, nil
}

func (s *statements) close() error {
	var all error
	for _, p := range s.each() {
		if *p != nil {
			all = errors.Join(all, (*p).Close())
		}
	}
	return all
}

// rows writes into one transaction and keeps the first error, with what it was
// about.
type rows struct {
	ctx    context.Context
	tx     *sql.Tx
	ledger *Ledger
	epoch  int64
	fresh  []place  // zones whose key this transaction made
	sets   []string // sets of probes whose key it made
	err    error
	at     string
}

func (w *rows) fail(err error, format string, args ...any) {
	if w.err == nil {
		w.err, w.at = err, fmt.Sprintf(format, args...)
	}
}

// begin counts a start of the daemon.
func (w *rows) begin() {
	row := w.tx.QueryRowContext(w.ctx, `UPDATE meta SET value = value + 1 WHERE key = 'epoch' RETURNING value`)
	if err := row.Scan(&w.epoch); err != nil {
		w.fail(err, "begin")
	}
}

func (w *rows) request(r *request) {
	if r.probe {
		w.exec(w.ledger.insert.probe, "a trial", "")
		if r.room {
			w.exec(w.ledger.insert.room, "a trial", "of room")
		}
		return
	}
	b := r.batch
	for i := range b.Advice {
		w.advice(&b.Advice[i])
	}
	for i := range b.Moves {
		w.move(&b.Moves[i])
	}
	for i := range b.Decisions {
		w.decision(&b.Decisions[i])
	}
	for i := range b.Covers {
		w.cover(&b.Covers[i])
	}
	for i := range b.Forgotten {
		w.forgotten(&b.Forgotten[i])
	}
	for i := range b.Events {
		w.event(&b.Events[i])
	}
	for i := range b.Zones {
		w.zone(&b.Zones[i])
	}
	w.points(b.Points)
	w.forecasts(b.Forecasts)
}

// exec runs a statement and tells how many rows it touched.
func (w *rows) exec(s *sql.Stmt, what, id string, args ...any) int64 {
	if w.err != nil {
		return 0
	}
	result, err := w.tx.StmtContext(w.ctx, s).ExecContext(w.ctx, args...)
	if err != nil {
		w.fail(err, "%s", strings.TrimSpace("write "+what+" "+id))
		return 0
	}
	n, err := result.RowsAffected()
	if err != nil {
		w.fail(err, "write %s %s", what, id)
	}
	return n
}

func (w *rows) marshal(what, id string, v any) []byte {
	body, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		w.fail(err, "write %s %s", what, id)
	}
	return body
}

func (w *rows) advice(r *wire.AdviceRecord) {
	a := r.Advice
	body, taken := w.marshal("advice", a.ID, a), strings.Join(r.Taken, " ")
	n := w.exec(w.ledger.insert.advice, "advice", a.ID, a.Site, a.Zone, a.ID, r.Sequence, string(a.Approval.State), a.Approval.Digest,
		a.IssuedAt.UnixMilli(), a.ValidUntil.UnixMilli(), taken, body, sumOf(r.Sequence, taken, body))
	if w.err == nil && n != 1 {
		w.fail(fmt.Errorf("it is on record with another digest or place in the order; expected a new id for new content"), "write advice %s", a.ID)
	}
}

func (w *rows) forgotten(f *wire.Forgotten) {
	n := w.exec(w.ledger.insert.forgotten, "end of advice", f.Advice, f.Site, f.Zone, f.Advice)
	if w.err == nil && n != 1 {
		w.fail(fmt.Errorf("it is not on record"), "write end of advice %s", f.Advice)
	}
}

func (w *rows) move(m *wire.Move) {
	w.exec(w.ledger.insert.move, "move of advice", m.Advice, m.Site, m.Zone, m.Advice, m.Digest, string(m.From), string(m.To),
		m.At.UnixMilli(), m.By, m.Note, m.Under, w.epoch)
}

// decided is how a decision lies in the ledger.
type decided struct {
	Decision wire.Decision `json:"decision"`
	Result   wire.Result   `json:"result"`
}

func (w *rows) decision(d *wire.DecisionRecord) {
	body := w.marshal("decision on", d.Decision.Advice, decided{d.Decision, d.Result})
	code := ""
	if d.Result.Reason != nil {
		code = d.Result.Reason.Code
	}
	w.exec(w.ledger.insert.decision, "decision on", d.Decision.Advice, d.Site, d.Zone, d.Decision.Advice, d.Result.Time.UnixMilli(),
		d.Result.Result, code, d.Hash, d.Signed, body, w.epoch)
}

func (w *rows) cover(c *wire.CoverRecord) {
	body := w.marshal("standing approval", c.Advice, c)
	w.exec(w.ledger.insert.cover, "standing approval", c.Advice, c.Site, c.Zone, c.Advice, c.Live, body, sumOf(0, "", body))
}

func (w *rows) event(e *EventRow) {
	id := e.Site + "/" + e.Zone
	body := w.marshal("event of", id, &e.Event)
	w.exec(w.ledger.insert.event, "event of", id, e.Site, e.Zone, e.Event.Time.UnixMilli(), e.Event.Kind, body)
}

func (w *rows) zone(z *ZoneRow) {
	w.exec(w.ledger.insert.zone, "state of", z.Site+"/"+z.Zone, z.Site, z.Zone, z.Version, z.At.UnixMilli(), z.Snapshot)
}

func (w *rows) points(points []Point) {
	for i := range points {
		p := &points[i]
		id := p.Site + "/" + p.Zone
		key := w.key(place{p.Site, p.Zone})
		v, err := p.scaled()
		if err != nil {
			w.fail(err, "write point of %s", id)
		}
		set, probes := w.probes(id, p.Probes)
		s := p.At.Unix()
		w.exec(w.ledger.insert.point, "point of", id, s/secondsPerHour, key, s%secondsPerHour,
			v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], nullable(p.PoreEC, 100), nullable(p.Temperature, 10),
			v[8], set, probes)
	}
}

// probes gives the last two columns of a point, both NULL where there are none.
func (w *rows) probes(id string, probes []Probe) (set, blob any) {
	if len(probes) == 0 || w.err != nil {
		return nil, nil
	}
	b, err := appendProbes(make([]byte, 0, 8*len(probes)), probes)
	if err != nil {
		w.fail(err, "write point of %s", id)
		return nil, nil
	}
	ids := idsOf(probes)
	key, ok := w.ledger.sets[ids]
	if !ok {
		if err := w.tx.StmtContext(w.ctx, w.ledger.insert.set).QueryRowContext(w.ctx, ids).Scan(&key); err != nil {
			w.fail(err, "write probes of %s", id)
			return nil, nil
		}
		w.ledger.sets[ids] = key
		w.sets = append(w.sets, ids)
	}
	return key, b
}

// key gives the number that stands for a zone in points.
func (w *rows) key(p place) int64 {
	if key, ok := w.ledger.keys[p]; ok || w.err != nil {
		return key
	}
	var key int64
	if err := w.tx.StmtContext(w.ctx, w.ledger.insert.key).QueryRowContext(w.ctx, p.site, p.zone).Scan(&key); err != nil {
		w.fail(err, "write key of %s/%s", p.site, p.zone)
		return 0
	}
	w.ledger.keys[p] = key
	w.fresh = append(w.fresh, p)
	return key
}

const secondsPerHour = 3600

func nullable(v *float64, scale float64) any {
	if v == nil || math.IsNaN(*v) {
		return nil
	}
	return int64(math.Round(*v * scale))
}

func milli(ms int64) time.Time { return time.UnixMilli(ms).UTC() }
