package service

import (
	"math"
	"strconv"
	"sync"
	"sync/atomic"

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
	aside := exposition.Sample{Site: w.settings.Site, Zone: w.settings.Zone}
	if last := kept.Load(); last != nil {
		aside = *last
	} else {
		unknown(&aside)
	}
	aside.SetAside, aside.Pending, aside.DecideByUnixS = true, false, math.NaN()
	waiting(&aside, w.desk)
	kept.Store(&aside)
}

// unknown takes every number of a sample for not known.
func unknown(s *exposition.Sample) {
	for _, v := range [...]*float64{
		&s.WaterContent, &s.AirFilledPorosity, &s.FullPoint, &s.RefillPoint, &s.DrybackDepth, &s.OvernightDrybackDepth, &s.AerationMargin,
		&s.Stability, &s.PoreEC, &s.AdviceConfidence, &s.SaturationS, &s.InBandS, &s.AboveBandS, &s.BelowBandS,
		&s.UptakeML, &s.IrrigationML, &s.DrainML, &s.SaturationS24h, &s.LastReadingUnixS, &s.DecideByUnixS, &s.ForecastCovered,
	} {
		*v = math.NaN()
	}
}

func sampleOf(w *worker, s *policy.State) *exposition.Sample {
	nan := math.NaN()
	out := &exposition.Sample{
		Site: w.settings.Site, Zone: w.settings.Zone,
		WaterContent: nan, AirFilledPorosity: nan, AerationMargin: nan, PoreEC: nan, DrybackDepth: nan, OvernightDrybackDepth: nan, ForecastCovered: nan,
		FullPoint: s.FullPoint, RefillPoint: s.RefillPoint, Stability: s.StabilityIndex, AdviceConfidence: s.AdviceConfidence,
		SaturationS: s.Totals.SaturationS, InBandS: s.Totals.InBandS, AboveBandS: s.Totals.AboveBandS, BelowBandS: s.Totals.BelowBandS,
		UptakeML: s.Totals.UptakeML, IrrigationML: s.Totals.IrrigationML, DrainML: s.Totals.DrainML,
		SaturationS24h: s.SaturationS24h, LastReadingUnixS: nan, DecideByUnixS: nan,
	}
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
	for _, e := range s.ForecastError {
		out.ForecastErrors = append(out.ForecastErrors, exposition.HorizonError{Horizon: strconv.Itoa(int(e.Horizon.Hours())) + "h", Error: e.Error})
	}
	if len(s.ForecastError) > 0 {
		out.ForecastCovered = s.ForecastCoverage
	}
	waiting(out, w.desk)
	return out
}

// waiting says whether an advice of the zone waits for a person.
func waiting(out *exposition.Sample, d *desk.Desk) {
	if a := d.Standing(); d.Pending() && a != nil {
		out.Pending, out.DecideByUnixS = true, float64(a.Approval.DecideBy.Unix())
	}
}
