package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"
)

// Point is a zone at one moment of its past, for reports. Points are kept for
// Options.KeepPoints; about 60 bytes each with three probes, so a zone with one
// every 5 minutes takes about 1.7 MB in 90 days.
type Point struct {
	Site, Zone        string
	At                time.Time // whole seconds
	WaterContent      float64   // m3/m3
	SD                float64   // m3/m3, of the water content; 0 when not known
	FullPoint         float64   // m3/m3
	RefillPoint       float64   // m3/m3
	AirFilledPorosity float64   // m3/m3
	SaturationS       float64   // s since the point before
	IrrigationML      float64   // mL per container since the point before
	DrainML           float64   // mL per container since the point before
	UptakeML          float64   // mL per container since the point before
	PoreEC            *float64  // mS/cm, nil when not known
	Temperature       *float64  // Cel, nil when not known
	Probes            []Probe   // in the order of their ids
}

// contentScale is the resolution of a water content in the ledger, 1/(m3/m3).
const contentScale = 10_000

// scaled gives the numbers in the units of their columns.
func (p *Point) scaled() (out [9]int64, err error) {
	values := [9]float64{
		p.WaterContent * contentScale, p.FullPoint * contentScale, p.RefillPoint * contentScale, p.AirFilledPorosity * contentScale,
		p.SaturationS, p.IrrigationML, p.DrainML, p.UptakeML, p.SD * contentScale,
	}
	for i, v := range values {
		if !(math.Abs(v) < math.MaxInt32) { // also NaN
			return out, fmt.Errorf("value %d of the point at %s is %v; expected a finite number", i, p.At.Format(time.RFC3339), v)
		}
		out[i] = int64(math.Round(v))
	}
	return out, nil
}

const readPoints = `SELECT second, water_content, full_point, refill_point, air_filled_porosity,
saturation_s, irrigation_ml, drain_ml, uptake_ml, pore_ec, temperature, deviation, ids, probes
FROM points LEFT JOIN probe_sets ON probe_sets.key = probe_set WHERE hour = ? AND zone = ? ORDER BY second`

// Points gives the points of a zone from a time to another, both included, in
// order, until one is refused. The time it takes grows with the hours, not with
// the number of zones.
func (r *Reader) Points(ctx context.Context, site, zone string, from, to time.Time, give func(Point) error) error {
	return r.hourly(ctx, "points", site, zone, from, to, func(hour, key int64) error {
		points, err := r.hour(ctx, hour, key)
		if err != nil {
			return r.fault("read points of "+site+"/"+zone, err)
		}
		for i := range points {
			p := points[i]
			if p.At.Before(from) || p.At.After(to) {
				continue
			}
			p.Site, p.Zone = site, zone
			if err := give(p); err != nil {
				return err
			}
		}
		return nil
	})
}

// hourly goes through the hours from a time to another of which a table may have
// something of a zone.
func (r *Reader) hourly(ctx context.Context, table, site, zone string, from, to time.Time, each func(hour, key int64) error) error {
	var key int64
	err := r.read.QueryRowContext(ctx, `SELECT key FROM zone_keys WHERE site = ? AND zone = ?`, site, zone).Scan(&key)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return r.fault("read "+table+" of "+site+"/"+zone, err)
	}
	first, last, err := r.hours(ctx, table)
	if err != nil {
		return err
	}
	for hour := max(first, from.Unix()/secondsPerHour); hour <= min(last, to.Unix()/secondsPerHour); hour++ {
		if err := each(hour, key); err != nil {
			return err
		}
	}
	return nil
}

// hours gives the first and the last hour that a table has anything of, points or
// forecasts; the last lies before the first when there is nothing.
func (r *Reader) hours(ctx context.Context, table string) (first, last int64, err error) {
	var a, b sql.NullInt64
	q := fmt.Sprintf(`SELECT (SELECT min(hour) FROM %[1]s), (SELECT max(hour) FROM %[1]s)`, table)
	if err := r.read.QueryRowContext(ctx, q).Scan(&a, &b); err != nil {
		return 0, 0, r.fault("read "+table, err)
	}
	if !a.Valid {
		return 0, -1, nil
	}
	return a.Int64, b.Int64, nil
}

func (r *Reader) hour(ctx context.Context, hour, key int64) (points []Point, err error) {
	rows, err := r.read.QueryContext(ctx, readPoints, hour, key)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var second int64
		var v [8]int64
		var ec, temperature, deviation sql.NullInt64
		var ids, probes sql.RawBytes
		if err := rows.Scan(&second, &v[0], &v[1], &v[2], &v[3], &v[4], &v[5], &v[6], &v[7], &ec, &temperature, &deviation, &ids, &probes); err != nil {
			return nil, err
		}
		p := Point{
			At:           time.Unix(hour*secondsPerHour+second, 0).UTC(),
			WaterContent: float64(v[0]) / contentScale, FullPoint: float64(v[1]) / contentScale,
			RefillPoint: float64(v[2]) / contentScale, AirFilledPorosity: float64(v[3]) / contentScale,
			SaturationS: float64(v[4]), IrrigationML: float64(v[5]), DrainML: float64(v[6]), UptakeML: float64(v[7]),
			PoreEC: known(ec, 100), Temperature: known(temperature, 10), SD: float64(deviation.Int64) / contentScale,
		}
		if ids != nil {
			if p.Probes, err = probesOf(ids, probes); err != nil {
				return nil, fmt.Errorf("point of %s: %w", p.At.Format(time.RFC3339), err)
			}
		}
		points = append(points, p)
	}
	return points, rows.Err()
}

func known(v sql.NullInt64, scale float64) *float64 {
	if !v.Valid {
		return nil
	}
	f := float64(v.Int64) / scale
	return &f
}
