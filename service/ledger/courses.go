package ledger

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"

	"rhizostat/policy"
)

// Forecast is what was forecast of a zone, for reports: it is held against what
// came. It is kept as long as points are. One of 24 h in steps of 15 min takes
// about 700 bytes.
type Forecast struct {
	Site, Zone string
	IssuedAt   time.Time // whole seconds
	Step       time.Duration
	Plan       policy.Course // under the standing advice
	AsUsual    policy.Course // watered as on its last days, empty where there was none
}

// maxCourse bounds the values of a course in the file.
const maxCourse = 10_000

// appendCourse writes a course: how many values it has, and after each other the
// water contents, how far the interval reaches below and how far above, each as
// the change from the value before it in 0.0001 m3/m3. Water moves by less than
// 0.0064 m3/m3 in most steps, so that a value takes one byte.
func appendCourse(dst []byte, c *policy.Course) ([]byte, error) {
	n := len(c.WaterContent)
	if n == 0 {
		return dst, nil
	}
	if n > maxCourse || len(c.Low) != n || len(c.High) != n {
		return nil, fmt.Errorf("a course of %d values with %d below and %d above; expected the same number, at most %d", n, len(c.Low), len(c.High), maxCourse)
	}
	dst = binary.AppendUvarint(dst, uint64(n))
	for _, value := range [...]func(i int) float64{
		func(i int) float64 { return c.WaterContent[i] },
		func(i int) float64 { return c.WaterContent[i] - c.Low[i] },
		func(i int) float64 { return c.High[i] - c.WaterContent[i] },
	} {
		last := int64(0)
		for i := range n {
			v, err := inContentUnits(value(i))
			if err != nil {
				return nil, fmt.Errorf("value %d of a course: %w", i, err)
			}
			dst = binary.AppendVarint(dst, v-last)
			last = v
		}
	}
	return dst, nil
}

// courseOf reads what appendCourse wrote.
func courseOf(blob []byte) (policy.Course, error) {
	var c policy.Course
	if len(blob) == 0 {
		return c, nil
	}
	r := varints{rest: blob}
	n := r.unsigned()
	if r.short || n == 0 || n > maxCourse || 3*n > uint64(len(r.rest)) {
		return c, fmt.Errorf("a course of %d values in %d bytes is not whole", n, len(blob))
	}
	series := func(put func(i int, v float64)) {
		sum := int64(0)
		for i := range int(n) {
			sum += r.signed()
			if sum < math.MinInt32 || sum > math.MaxInt32 {
				r.short = true
				return
			}
			put(i, float64(sum)/contentScale)
		}
	}
	c.WaterContent, c.Low, c.High = make([]float64, n), make([]float64, n), make([]float64, n)
	series(func(i int, v float64) { c.WaterContent[i] = v })
	series(func(i int, v float64) { c.Low[i] = c.WaterContent[i] - v })
	series(func(i int, v float64) { c.High[i] = c.WaterContent[i] + v })
	if r.short || len(r.rest) > 0 {
		return policy.Course{}, fmt.Errorf("a course of %d values in %d bytes is not whole", n, len(blob))
	}
	return c, nil
}

const (
	writeForecast = `INSERT OR REPLACE INTO forecasts (hour, zone, second, step_s, plan, usual) VALUES (?, ?, ?, ?, ?, ?)`
	readForecasts = `SELECT second, step_s, plan, usual FROM forecasts WHERE hour = ? AND zone = ? ORDER BY second`
)

func (w *rows) forecasts(forecasts []Forecast) {
	for i := range forecasts {
		f := &forecasts[i]
		id := f.Site + "/" + f.Zone
		plan, err := appendCourse(make([]byte, 0, 512), &f.Plan)
		usual, other := appendCourse(make([]byte, 0, 512), &f.AsUsual)
		if err := errors.Join(err, other); err != nil {
			w.fail(err, "write forecast of %s", id)
			return
		}
		s := f.IssuedAt.Unix()
		w.exec(w.ledger.insert.forecast, "forecast of", id, s/secondsPerHour, w.key(place{f.Site, f.Zone}), s%secondsPerHour,
			int64(f.Step/time.Second), plan, usual)
	}
}

// Forecasts gives what was forecast of a zone from a time to another, both
// included, in order, until one is refused.
func (r *Reader) Forecasts(ctx context.Context, site, zone string, from, to time.Time, give func(Forecast) error) error {
	return r.hourly(ctx, "forecasts", site, zone, from, to, func(hour, key int64) error {
		found, err := r.forecastsOf(ctx, hour, key)
		if err != nil {
			return r.fault("read forecasts of "+site+"/"+zone, err)
		}
		for i := range found {
			f := found[i]
			if f.IssuedAt.Before(from) || f.IssuedAt.After(to) {
				continue
			}
			f.Site, f.Zone = site, zone
			if err := give(f); err != nil {
				return err
			}
		}
		return nil
	})
}

func (r *Reader) forecastsOf(ctx context.Context, hour, key int64) (out []Forecast, err error) {
	rows, err := r.read.QueryContext(ctx, readForecasts, hour, key)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var second, step int64
		var plan, usual []byte
		if err := rows.Scan(&second, &step, &plan, &usual); err != nil {
			return nil, err
		}
		f := Forecast{IssuedAt: time.Unix(hour*secondsPerHour+second, 0).UTC(), Step: time.Duration(step) * time.Second}
		var other error
		f.Plan, err = courseOf(plan)
		f.AsUsual, other = courseOf(usual)
		if err := errors.Join(err, other); err != nil {
			return nil, fmt.Errorf("forecast of %s: %w", f.IssuedAt.Format(time.RFC3339), err)
		}
		out = append(out, f)
	}
	return out, rows.Err()
}
