package report

import (
	"errors"
	"io"
	"math"
	"testing"
	"time"

	"rhizostat/policy"
)

// TestCollector feeds states as an engine gives them, and finds shots, drain,
// uptake, saturated time, the band's change and one forecast a day again.
func TestCollector(t *testing.T) {
	s := bench("bench-07")
	s.Day.End = policy.DayMark{AfterMidnight: 18 * time.Hour}
	c := NewCollector(s)
	from := time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	var totals policy.Totals
	totals.IrrigationML, totals.UptakeML = 5000, 4000 // of weeks before
	c.State(&policy.State{Time: from.Add(-time.Hour)})
	for i := range 2 * 24 * 60 {
		at := from.Add(time.Duration(i) * time.Minute)
		if at.Hour() == 9 && at.Minute() == 30 {
			totals.IrrigationML += 200
		}
		if at.Hour() == 9 && at.Minute() >= 31 && at.Minute() <= 45 {
			totals.SaturationS += 60
			totals.DrainML += 2
		}
		totals.UptakeML += 0.5
		full := 0.60
		if i >= 24*60 {
			full = 0.58
		}
		c.State(&policy.State{Time: at, Known: true, WaterContent: 0.55, WaterContentSD: 0.01, FullPoint: full, RefillPoint: 0.5, Totals: totals,
			Probes: []policy.ProbeState{{ID: "p1", Seen: true, WaterContent: 0.56, AgeS: float64(i % 5 * 60)}, {ID: "p2"}}})
		if i%30 == 0 {
			c.Forecast(&policy.Forecast{IssuedAt: at, Plan: policy.Course{WaterContent: []float64{0.55, 0.55}, Low: []float64{0.54, 0.54}, High: []float64{0.56, 0.56}}}, 5*time.Minute)
		}
	}
	c.Mark(Mark{from.Add(5 * time.Hour), Approved, "by a person"})
	d := c.Days(time.Time{}, time.Time{})
	if len(d.Shots) != 2 || d.Shots[0].ML != 200 || len(d.Drains) != 30 || len(d.Band) != 2 {
		t.Errorf("%d shots, %d drains, %d bands", len(d.Shots), len(d.Drains), len(d.Band))
	}
	if len(d.Saturated) != 2 || d.Saturated[0].To.Sub(d.Saturated[0].From) != 15*time.Minute {
		t.Errorf("saturated %v", d.Saturated)
	}
	if n := len(d.Probes[0].Readings); n != 2*24*12 || len(d.Probes[1].Readings) != 0 {
		t.Errorf("%d readings of p1", n)
	}
	if w := d.Water[0]; math.Abs(w.High-w.Low-2*1.6449*0.01) > 1e-12 {
		t.Errorf("interval %g to %g", w.Low, w.High)
	}
	// Issued before the first day's start, at both starts, and no more.
	if len(d.Forecasts) != 3 || !d.Forecasts[1].IssuedAt.Equal(from.Add(6*time.Hour)) || !d.Forecasts[2].IssuedAt.Equal(from.Add(30*time.Hour)) {
		t.Errorf("%d forecasts", len(d.Forecasts))
	}
	if len(d.Starts) != 3 || !d.Starts[1].Equal(from.Add(6*time.Hour)) {
		t.Errorf("starts %v", d.Starts)
	}
	days := d.Daily()
	if len(days) != 3 || days[1].UptakeML != 720 || days[1].SaturatedS != 900 || days[1].DrainFraction != 0.15 || days[1].InBand != 1 || days[1].ForecastError != 0 {
		t.Errorf("%+v", days)
	}
	if err := errors.Join(d.SVG(io.Discard), d.Table(io.Discard)); err != nil {
		t.Error(err)
	}
	if empty := NewCollector(s).Days(time.Time{}, time.Time{}); errors.Join(empty.SVG(io.Discard), empty.Table(io.Discard)) != nil {
		t.Error("no picture of nothing")
	}
}
