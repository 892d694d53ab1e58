package service

import (
	"math"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/desk"
	"rhizostat/service/exposition"
	"rhizostat/service/intake"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// metrics turns what happens in the house into what is exposed. It outlives a
// reload, so that counters go on.
type metrics struct {
	*exposition.Metrics

	mu    sync.RWMutex
	zones []*zoneSample // sorted as the house has them
	sites []string      // of the house
}

// zoneSample is the newest sample of a zone; a scrape reads while its goroutine
// goes on.
type zoneSample struct {
	sample atomic.Pointer[exposition.Sample]
}

func newMetrics(version string) *metrics {
	var reasons []string
	for _, r := range intake.Reasons {
		reasons = append(reasons, string(r.Reason))
	}
	m := &metrics{Metrics: exposition.NewMetrics(version, reasons)}
	m.ZonesFrom(m.each)
	return m
}

// each gives the newest sample of every zone that has one.
func (m *metrics) each(yield func(*exposition.Sample) bool) {
	m.mu.RLock()
	zones := m.zones
	m.mu.RUnlock()
	for _, z := range zones {
		if s := z.sample.Load(); s != nil && !yield(s) {
			return
		}
	}
}

// house takes the zones of a set of sites.
func (m *metrics) house(h *house) {
	zones := make([]*zoneSample, len(h.workers))
	for i := range zones {
		zones[i] = new(zoneSample)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.zones = zones
	for _, name := range m.sites {
		m.NoSite(name) // a reload may have taken it away
	}
	m.sites = nil
	for _, st := range h.sites {
		m.Site(st.Name, len(st.Zones))
		m.sites = append(m.sites, st.Name)
	}
}

// Refused counts something that was not taken.
func (m *metrics) Refused(reason string) { m.Message(intake.Refused, reason) }

// clockRefused counts a reading that a zone's clock did not take.
func (m *metrics) clockRefused(reason string) {
	if reason == shard.ReasonDoubled {
		m.Message(intake.Partial, reason)
		return
	}
	m.Refused(reason)
}

// Received counts a telemetry message by what became of it.
func (m *metrics) Received(err error) {
	result, reason := intake.Outcome(err)
	m.Message(result, string(reason))
}

// Moved counts what a move of an approval means for people.
func (m *metrics) Moved(move *wire.Move) {
	if move.To == policy.StatePending {
		m.Asked(move.Site)
	}
}

// Advised counts an advice when it is issued.
func (m *metrics) Advised(site string, action advice.Action) { m.Advice(site, string(action)) }

// Decided counts a decision by its answer.
func (m *metrics) Decided(site string, r *wire.Result) {
	verdict := string(r.Decision)
	if verdict == "" {
		verdict = "unreadable"
	}
	m.Decision(site, verdict, r.Result)
}

// Zone takes the newest state of a zone. One that was set aside has no newer
// numbers: its counters stay where they are, and it is there even where it broke
// before it had any.
func (m *metrics) Zone(zone int, w *worker, s *policy.State) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	if zone >= len(m.zones) {
		return
	}
	kept := &m.zones[zone].sample
	if w.aside == nil {
		kept.Store(sampleOf(w, s))
		return
	}
	aside := blank(w)
	if last := kept.Load(); last != nil {
		*aside = *last
	}
	aside.SetAside, aside.Pending, aside.DecideByUnixS = true, false, math.NaN()
	waiting(aside, w.desk)
	kept.Store(aside)
}

// Waiting renews what the desk says of a zone: an advice that was decided waits for
// nobody, and its state may be a minute away.
func (m *metrics) Waiting(zone int, w *worker) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	if zone >= len(m.zones) {
		return
	}
	out := blank(w)
	if last := m.zones[zone].sample.Load(); last != nil {
		*out = *last
		out.Pending, out.DecideByUnixS = false, math.NaN()
		waiting(out, w.desk)
	}
	m.zones[zone].sample.Store(out)
}

// blank is the sample of a zone that has published no state since the start: what
// the ledger has of it, and nothing of the water.
func blank(w *worker) *exposition.Sample {
	nan := math.NaN()
	out := &exposition.Sample{
		Site: w.settings.Site, Zone: w.settings.Zone,
		WaterContent: nan, AirFilledPorosity: nan, FullPoint: nan, RefillPoint: nan, AerationMargin: nan, PoreEC: nan,
		DrybackDepth: nan, OvernightDrybackDepth: nan, Stability: nan, AdviceConfidence: nan, ForecastCovered: nan,
		SaturationS: nan, InBandS: nan, AboveBandS: nan, BelowBandS: nan, UptakeML: nan, IrrigationML: nan, DrainML: nan,
		SaturationS24h: nan, LastReadingUnixS: nan, SetAside: w.aside != nil, DecideByUnixS: nan,
	}
	if t := &w.durable; t.Known {
		out.SaturationS, out.InBandS, out.AboveBandS, out.BelowBandS = t.SaturationS, t.InBandS, t.AboveBandS, t.BelowBandS
		out.UptakeML, out.IrrigationML, out.DrainML = t.UptakeML, t.IrrigationML, t.DrainML
	}
	waiting(out, w.desk)
	return out
}

func sampleOf(w *worker, s *policy.State) *exposition.Sample {
	out := blank(w)
	out.FullPoint, out.RefillPoint, out.Stability, out.AdviceConfidence = s.FullPoint, s.RefillPoint, s.StabilityIndex, s.AdviceConfidence
	out.SaturationS24h = s.SaturationS24h
	if s.Known {
		out.WaterContent, out.AirFilledPorosity, out.AerationMargin = s.WaterContent, s.AirFilledPorosity, s.AerationMargin
	}
	if s.LastDryback > 0 {
		out.DrybackDepth = s.LastDryback
	}
	if s.OvernightDryback > 0 {
		out.OvernightDrybackDepth = s.OvernightDryback
	}
	if s.PoreEC != nil {
		out.PoreEC = *s.PoreEC
	}
	out.Probes = make([]exposition.ProbeHealth, 0, len(s.Probes))
	for i := range s.Probes {
		p := &s.Probes[i]
		out.Probes = append(out.Probes, exposition.ProbeHealth{Probe: p.ID, Healthy: p.Seen && p.Health == "ok"})
		if at := float64(s.Time.Unix()) - p.AgeS; p.Seen && !(out.LastReadingUnixS > at) {
			out.LastReadingUnixS = at
		}
	}
	for _, f := range s.Diagnosis {
		out.Findings = append(out.Findings, exposition.Finding{Cause: f.Cause, Probability: f.Probability})
	}
	out.ForecastErrors = make([]exposition.HorizonError, 0, len(s.ForecastError))
	for _, e := range s.ForecastError {
		out.ForecastErrors = append(out.ForecastErrors, exposition.HorizonError{Horizon: horizonName(e.Horizon), Error: e.Error})
	}
	if len(s.ForecastError) > 0 {
		out.ForecastCovered = s.ForecastCoverage
	}
	return out
}

// horizonNames are the horizons by hours, for all zones.
var horizonNames = func() (names [25]string) {
	for h := range names {
		names[h] = strconv.Itoa(h) + "h"
	}
	return names
}()

// horizonName tells a horizon in hours.
func horizonName(d time.Duration) string {
	if hours := int(d.Hours()); hours < len(horizonNames) {
		return horizonNames[hours]
	}
	return strconv.Itoa(int(d.Hours())) + "h"
}

// waiting says whether an advice of the zone waits for a person.
func waiting(out *exposition.Sample, d *desk.Desk) {
	if by := d.DecideBy(); !by.IsZero() {
		out.Pending, out.DecideByUnixS = true, float64(by.Unix())
	}
}
