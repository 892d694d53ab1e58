package service

import (
	"encoding/binary"
	"fmt"
	"hash/maphash"
	"log/slog"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/desk"
	"rhizostat/service/ledger"
	"rhizostat/service/report"
	"rhizostat/service/shard"
)

// snapshotVersion is of the layout of what snapshot puts into the ledger.
const snapshotVersion = 3

// pointEvery is how often a zone's course is noted for reports.
const pointEvery = 5 * time.Minute

// pointSource remembers the totals at the last point, as far as points have told
// of them, and when the last forecast was kept.
type pointSource struct {
	At           time.Time
	Forecast     time.Time
	SaturationS  float64
	IrrigationML float64
	DrainML      float64
	UptakeML     float64
	Known        bool
}

// tally is a zone's totals once it has any. What is exposed of them must not fall
// when the daemon is killed, for a counter that falls is taken to have begun anew,
// and all that it says then to be an increase: so only those are exposed that the
// ledger has, at most snapshotEvery old.
type tally struct {
	policy.Totals
	Known bool
}

// kept is the part of a snapshot that is not the engine's.
type kept struct {
	Clock  shard.Snapshot
	Point  pointSource
	Totals tally
}

// snapshot gives all of the zone but its approvals, which the ledger has in
// tables of their own: engine, clock, and what waits to be put in order.
func (w *worker) snapshot() (ledger.ZoneRow, error) {
	engine := w.engine.AppendSnapshot(w.lot.plain[:0])
	w.lot.plain = engine
	rest, err := json.Marshal(kept{Clock: w.lot.shard.Snapshot(w.index), Point: w.point, Totals: w.newest})
	if err != nil {
		return ledger.ZoneRow{}, err
	}
	data, err := w.house.squeezer.squeeze(binary.LittleEndian.AppendUint32(nil, uint32(len(engine))), engine, rest)
	if err != nil {
		return ledger.ZoneRow{}, err
	}
	return ledger.ZoneRow{Site: w.settings.Site, Zone: w.settings.Zone, Version: snapshotVersion, At: w.now, Snapshot: data}, nil
}

// restore takes back what the ledger has of the zone. A snapshot that this
// version cannot read is said and left: the zone then learns anew, its
// approvals stand.
func (w *worker) restore(r ledger.ZoneRecord, by *restorer) error {
	var refused []desk.Refused
	w.desk, refused = desk.Restore(w.settings.Site, w.settings.Zone, w.rules, r.Advice, r.Covers)
	for _, u := range r.Unreadable {
		w.desk.GoOnAfter(u.Sequence)
		refused = append(refused, desk.Refused(u))
	}
	defer func() { w.leaveOut(refused, by) }()
	if r.Snapshot == nil {
		return w.remember(r.At)
	}
	if err := w.restoreSnapshot(r, by); err != nil {
		by.say(slog.LevelWarn, "zone starts anew: its state in the ledger cannot be used", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		if w.engine, err = policy.NewShared(w.settings, w.shared()); err != nil {
			return fmt.Errorf("zone %s/%s: %w", w.settings.Site, w.settings.Zone, err)
		}
		w.lot.shard.Resume(w.index, r.At) // what is approved ends in time all the same
	} else {
		w.savedAt, w.savedTotals = r.At, w.newest.Known
		w.behind = w.missed()
	}
	w.now = r.At
	return w.remember(r.At)
}

// remember takes what the desk has published before a restart for published: a
// new connection publishes it all again, a replay goes on without a word.
func (w *worker) remember(at time.Time) error {
	w.due = w.desk.NextDue(at.Add(-time.Millisecond))
	messages, err := w.desk.Publications(w.topics, at)
	if err != nil {
		return err
	}
	for _, m := range messages {
		w.published.put(m.Topic, maphash.Bytes(seed, m.Payload))
	}
	w.inForce = w.desk.InForceID(at)
	return w.rememberCommands(at)
}

// restoreSnapshot takes back a snapshot. After an error the engine is of no use any more.
func (w *worker) restoreSnapshot(r ledger.ZoneRecord, by *restorer) error {
	if r.Version != snapshotVersion {
		return fmt.Errorf("snapshot of layout %d; this version reads %d", r.Version, snapshotVersion)
	}
	data, err := by.unsqueeze(r.Snapshot)
	if err != nil {
		return err
	}
	if len(data) < 4 {
		return fmt.Errorf("snapshot of %d bytes is too short", len(data))
	}
	n := int(binary.LittleEndian.Uint32(data))
	if n < 0 || n > len(data)-4 {
		return fmt.Errorf("snapshot says %d bytes of engine and has %d", n, len(data)-4)
	}
	var rest kept
	if err := json.Unmarshal(data[4+n:], &rest); err != nil {
		return fmt.Errorf("snapshot: %w", err)
	}
	if err := w.engine.Restore(data[4:4+n], w.shared()); err != nil {
		return err
	}
	w.lot.shard.Restore(w.index, &rest.Clock)
	w.point, w.newest, w.durable = rest.Point, rest.Totals, rest.Totals
	return nil
}

// notePoint keeps a point of the zone's course for reports.
func (w *worker) notePoint(s *policy.State) {
	if !s.Known || s.Time.Truncate(pointEvery) == w.point.At.Truncate(pointEvery) {
		return
	}
	p := ledger.Point{
		Site: w.settings.Site, Zone: w.settings.Zone, At: s.Time.Truncate(time.Second),
		WaterContent: s.WaterContent, SD: s.WaterContentSD, FullPoint: s.FullPoint, RefillPoint: s.RefillPoint, AirFilledPorosity: s.AirFilledPorosity,
		PoreEC: s.PoreEC, Temperature: s.SubstrateTemp, Probes: probesOf(s.Probes),
	}
	last := &w.point
	if !last.Known { // of the time before nothing is known
		*last = pointSource{
			Known: true, Forecast: last.Forecast, SaturationS: s.Totals.SaturationS,
			IrrigationML: s.Totals.IrrigationML, DrainML: s.Totals.DrainML, UptakeML: s.Totals.UptakeML,
		}
	}
	last.At = s.Time
	p.SaturationS = since(&last.SaturationS, s.Totals.SaturationS)
	p.IrrigationML = since(&last.IrrigationML, s.Totals.IrrigationML)
	p.DrainML = since(&last.DrainML, s.Totals.DrainML)
	p.UptakeML = since(&last.UptakeML, s.Totals.UptakeML)
	w.pending.points = append(w.pending.points, p)
	w.lot.points++
}

// since gives by how much a total has grown, in whole units as points have them.
// What is left of a unit goes with a later point: a drain that only drips would
// otherwise never be told.
func since(told *float64, total float64) float64 {
	grown := math.Round(total - *told)
	*told += grown
	return grown
}

// probesOf is what the probes read, as points have it.
func probesOf(states []policy.ProbeState) []ledger.Probe {
	probes := make([]ledger.Probe, len(states))
	for i := range states {
		p := &states[i]
		probes[i] = ledger.Probe{ID: p.ID, Seen: p.Seen, WaterContent: p.WaterContent, AgeS: int(math.Round(p.AgeS)), Health: p.Health}
	}
	return probes
}

// noteForecast keeps the forecast that a report will hold against what came.
func (w *worker) noteForecast(f *policy.Forecast) {
	if !report.Told(w.settings, w.point.Forecast, f.IssuedAt) {
		return
	}
	w.point.Forecast = f.IssuedAt
	w.pending.forecasts = append(w.pending.forecasts, ledger.Forecast{
		Site: w.settings.Site, Zone: w.settings.Zone, IssuedAt: f.IssuedAt.Truncate(time.Second), Step: toldStep,
		Plan: thinned(&f.Plan), AsUsual: thinned(&f.AsUsual),
	})
}

// toldStep is the step of the forecasts in a report. Three of a published
// forecast's are enough for a picture of days, and for the mean of its errors.
const toldStep = 3 * forecastStep

// thinned is every third value of a course.
func thinned(c *policy.Course) policy.Course {
	every := func(values []float64) (out []float64) {
		for i := 0; i < len(values); i += int(toldStep / forecastStep) {
			out = append(out, values[i])
		}
		return out
	}
	return policy.Course{WaterContent: every(c.WaterContent), Low: every(c.Low), High: every(c.High)}
}

// missed are the approvals that moved after the snapshot was taken: a snapshot
// goes with every move, but for a zone that was set aside.
func (w *worker) missed() []policy.Approval {
	var out []policy.Approval
	for _, a := range w.desk.Approvals() {
		if state, known := w.engine.Approval(a.Advice); known && state != a.State {
			out = append(out, a)
		}
	}
	return out
}

// catchUp tells the engine of a restart what it missed, before anything else.
func (w *worker) catchUp() {
	behind, lost := w.behind, w.lost
	w.behind, w.lost = nil, false
	for i := range behind {
		w.step(policy.Event{Kind: policy.Approved, At: w.now, Approval: &behind[i]})
	}
	if lost {
		w.step(policy.Event{Kind: policy.Unrecorded, At: w.now})
	}
}

// leaveOut goes on without what the ledger has and nobody can tell any more what it said:
// it is neither in force nor to be decided on, and is said. The engine is told that the
// newest advice does not stand, so that it may issue another, and that an older one has
// ended.
func (w *worker) leaveOut(refused []desk.Refused, by *restorer) {
	if len(refused) > 0 {
		var ids []string
		for i := range refused {
			ids = append(ids, refused[i].Advice)
		}
		slices.Sort(ids)
		said := advice.Say("ledger-damaged", advice.Name(strings.Join(slices.Compact(ids), ", ")))
		w.leftOut = &said
	}
	for i := range refused {
		r := &refused[i]
		by.say(slog.LevelError, "part of the ledger is damaged and left out: it is not in force and nobody can approve it; the rest goes on; put the last copy of the ledger in its place, and look at the disk",
			"site", w.settings.Site, "zone", w.settings.Zone, "advice", r.Advice, "error", r.Err)
		by.leftOut++
		state, known := w.engine.Approval(r.Advice)
		switch {
		case r.Sequence == 0 || !known:
		case r.Sequence == w.desk.Newest():
			w.lost = true
		case state == policy.StateApproved:
			w.behind = append(w.behind, policy.Approval{Advice: r.Advice, State: policy.StateExpired})
		case state == policy.StatePending:
			w.behind = append(w.behind, policy.Approval{Advice: r.Advice, State: policy.StateSuperseded})
		}
	}
}
