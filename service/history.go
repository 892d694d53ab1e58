package service

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"time"

	"github.com/oklog/ulid/v2"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/ledger"
	"rhizostat/service/report"
	"rhizostat/service/wire"
)

// HistoryOptions say whose days are told, and out of what.
type HistoryOptions struct {
	Settings
	Zone      string
	Recording io.Reader // nil: the ledger
	From, To  time.Time // dates, whatever their zone: midnights of the site; zero: all there is
}

// midnight is where a date begins at a place; zero stays zero.
func midnight(date time.Time, loc *time.Location) time.Time {
	if date.IsZero() {
		return date
	}
	y, m, d := date.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, loc)
}

// History gathers the days of one zone.
func History(ctx context.Context, o HistoryOptions, log *slog.Logger) (*report.Days, error) {
	sites, err := loadSites(o.Sites, slog.New(slog.DiscardHandler)) // check has warned
	if err != nil {
		return nil, err
	}
	s, err := pick(sites, o.Zone)
	if err != nil {
		return nil, err
	}
	o.From, o.To = midnight(o.From, s.Location), midnight(o.To, s.Location)
	if !o.From.IsZero() && !o.To.IsZero() && !o.From.Before(o.To) {
		return nil, usage{fmt.Errorf("the days from %s to %s are none; expected a first day and one after it", o.From.Format(time.DateOnly), o.To.Format(time.DateOnly))}
	}
	c := report.NewCollector(s)
	if o.Recording != nil {
		err = fromRecording(ctx, o, s, c, log)
	} else {
		err = fromLedger(ctx, o, s, c)
	}
	if err != nil {
		return nil, err
	}
	days := c.Days(o.From, o.To)
	if len(days.Water) == 0 {
		return nil, usage{fmt.Errorf("zone %s: there is nothing on record of it; check the zone, the days and the site file", s.Zone)}
	}
	if err := outside(days, o); err != nil {
		return nil, usage{err}
	}
	return days, nil
}

// What counts for the days of a report beside them: approvals that were in force when
// they began, the shot before their first night, and what came of their last forecast.
const (
	daysBefore = 48 * time.Hour
	dayAfter   = 24 * time.Hour
)

// outside says that the days that are asked for are not those of the record.
func outside(days *report.Days, o HistoryOptions) error {
	const format = "2 Jan 2006 15:04"
	first, last := days.Water[0].At, days.Water[len(days.Water)-1].At
	switch {
	case !o.From.IsZero() && last.Before(o.From):
		return fmt.Errorf("zone %s: the record ends on %s, before the first day, %s; expected a day of the record; correct --from, or leave it out for all there is",
			days.Zone, last.In(o.From.Location()).Format(format), o.From.Format(time.DateOnly))
	case !o.To.IsZero() && !first.Before(o.To):
		return fmt.Errorf("zone %s: the record begins on %s, after the last day, that before %s; expected a day of the record; correct --to, or leave it out for all there is",
			days.Zone, first.In(o.To.Location()).Format(format), o.To.Format(time.DateOnly))
	}
	return nil
}

// fromLedger tells what a daemon has kept.
func fromLedger(ctx context.Context, o HistoryOptions, s *policy.Settings, c *report.Collector) (err error) {
	l, err := ledger.OpenReadOnly(ctx, o.Ledger)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	from, to := o.From, o.To
	if !from.IsZero() {
		from = from.Add(-daysBefore)
	}
	if to.IsZero() {
		to = farFuture
	} else {
		to = to.Add(dayAfter)
	}
	err = l.Points(ctx, s.Site, s.Zone, from, to, func(p ledger.Point) error {
		c.Sample(report.Sample{
			At: p.At, WaterContent: p.WaterContent, SD: p.SD, FullPoint: p.FullPoint, RefillPoint: p.RefillPoint,
			SaturationS: p.SaturationS, IrrigationML: p.IrrigationML, DrainML: p.DrainML, UptakeML: p.UptakeML,
		})
		for i := range p.Probes {
			if v := &p.Probes[i]; v.Seen {
				c.Probe(p.At, report.ProbeReading{ID: v.ID, At: p.At.Add(-time.Duration(v.AgeS) * time.Second), WaterContent: v.WaterContent, Health: v.Health})
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	err = l.Forecasts(ctx, s.Site, s.Zone, from, to, func(f ledger.Forecast) error {
		c.Forecast(&policy.Forecast{IssuedAt: f.IssuedAt, Plan: f.Plan, AsUsual: f.AsUsual}, f.Step)
		return nil
	})
	if err != nil {
		return err
	}
	return marksOf(ctx, l, s, c, from, to)
}

// marksOf tells what was asked, decided and done.
func marksOf(ctx context.Context, l *ledger.Reader, s *policy.Settings, c *report.Collector, from, to time.Time) error {
	moves, err := l.Moves(ctx, s.Site, s.Zone, from, to)
	if err != nil {
		return err
	}
	for i := range moves {
		c.Mark(markOf(&moves[i], s.Location))
	}
	issued, err := l.Advice(ctx, s.Site, s.Zone, from, to)
	if err != nil {
		return err
	}
	for _, a := range issued {
		if m, ok := inspection(a); ok {
			c.Mark(m)
		}
	}
	events, err := l.Events(ctx, s.Site, s.Zone, from, to)
	if err != nil {
		return err
	}
	for _, e := range events {
		c.Mark(report.Mark{At: e.Time, Kind: report.Happened, Text: e.Kind})
	}
	return nil
}

// farFuture is after everything that can be on record.
var farFuture = time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC)

// markOf tells a move of an approval in a few words. What ends an advice says which:
// most often the one before that which was just decided on.
func markOf(m *wire.Move, loc *time.Location) report.Mark {
	kind := map[policy.ApprovalState]report.MarkKind{
		policy.StatePending: report.Issued, policy.StateApproved: report.Approved, policy.StateRejected: report.Rejected,
		policy.StateWithdrawn: report.Withdrawn, policy.StateExpired: report.Expired, policy.StateSuperseded: report.Superseded,
	}[m.To]
	text := ""
	if m.By != "" {
		text = "by " + m.By
	}
	if id, err := ulid.ParseStrict(m.Advice); err == nil && m.To != policy.StatePending && m.To != policy.StateApproved {
		text = strings.TrimSpace("that of " + id.Timestamp().In(loc).Format("2 Jan 15:04") + " " + text)
	}
	return report.Mark{At: m.At, Kind: kind, Text: text}
}

// inspection is the mark of an advice that a person must look, false of one that asks
// for an approval: its moves are marked. The first sentence says why, the last what to
// look at.
func inspection(a *wire.Advice) (report.Mark, bool) {
	if a.Action != advice.Inspect {
		return report.Mark{}, false
	}
	var says []string
	for _, r := range a.Reasons {
		says = append(says, r.Text)
	}
	return report.Mark{At: a.IssuedAt, Kind: report.Inspect, Text: strings.Join(says, " ")}, true
}

// fromRecording plays a recording through the engine and watches one zone.
func fromRecording(ctx context.Context, o HistoryOptions, s *policy.Settings, c *report.Collector, log *slog.Logger) error {
	watch := &watcher{
		zone: s.Zone, site: s.Site,
		state: c.State,
		forecast: func(f *policy.Forecast) {
			c.Forecast(&policy.Forecast{IssuedAt: f.IssuedAt, Plan: thinned(&f.Plan), AsUsual: thinned(&f.AsUsual)}, toldStep)
		},
		move: func(m *wire.Move) { c.Mark(markOf(m, s.Location)) },
		advice: func(a *wire.Advice) {
			if m, ok := inspection(a); ok {
				c.Mark(m)
			}
		},
		event: func(e *wire.Event) {
			c.Mark(report.Mark{At: e.Time, Kind: report.Happened, Text: e.Kind})
		},
	}
	settings := o.Settings
	settings.Ledger = ""
	settings.StateEvery = pointEvery
	return replayWatched(ctx, settings, o.Recording, io.Discard, watch, log)
}

// forecastStep is the step of a published forecast.
const forecastStep = 5 * time.Minute

// watcher is told what happens to one zone in a replay.
type watcher struct {
	site, zone string
	state      func(*policy.State)
	forecast   func(*policy.Forecast)
	move       func(*wire.Move)
	advice     func(*wire.Advice) // as it now stands
	event      func(*wire.Event)
}

// of reports whether a worker is the one that is watched.
func (w *watcher) of(k *worker) bool {
	return w != nil && w.zone == k.settings.Zone && w.site == k.settings.Site
}
