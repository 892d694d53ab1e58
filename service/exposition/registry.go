package exposition

import (
	"runtime"
	"sync/atomic"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
)

// Metrics are the daemon's instruments. All methods are safe for several
// goroutines and cost at most a few hundred nanoseconds.
type Metrics struct {
	registry *prometheus.Registry
	source   atomic.Pointer[Source]
	scrapes  chan struct{} // a place for each that may run at once

	accepted   prometheus.Counter
	messages   *prometheus.CounterVec
	advice     *prometheus.CounterVec
	decisions  *prometheus.CounterVec
	asked      *prometheus.CounterVec
	zones      *prometheus.GaugeVec
	drybacks   *prometheus.HistogramVec
	broker     prometheus.Gauge
	ledger     prometheus.Gauge
	unreadable prometheus.Gauge
	standby    prometheus.Gauge
}

// NewMetrics makes the instruments, with the process's and the runtime's own.
// reasons are all for which a message may be refused: each is there from the
// start, at 0, so that its first increase is seen.
func NewMetrics(version string, reasons []string) *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(), scrapes: make(chan struct{}, 2),
		messages:  counter("rhizostat_intake_messages_total"),
		advice:    counter("rhizostat_advice_total"),
		decisions: counter("rhizostat_decisions_total"),
		asked:     counter("rhizostat_decisions_asked_total"),
		zones:     gauge("rhizostat_zones"),
		drybacks:  histogram("rhizostat_site_dryback_depth_ratio"),
	}
	connected, writable, build := gauge("rhizostat_broker_connected"), gauge("rhizostat_ledger_writable"), gauge("rhizostat_build_info")
	standby, unreadable := gauge("rhizostat_standby"), gauge("rhizostat_ledger_unreadable_records")
	m.registry.MustRegister(
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		m.messages, m.advice, m.decisions, m.asked, m.zones, m.drybacks, connected, writable, build, standby, unreadable,
	)
	m.broker, m.ledger, m.standby = connected.WithLabelValues(), writable.WithLabelValues(), standby.WithLabelValues()
	m.unreadable = unreadable.WithLabelValues()
	build.WithLabelValues(version, runtime.Version()).Set(1)
	m.accepted = m.messages.WithLabelValues("accepted", "")
	for _, reason := range reasons {
		m.messages.WithLabelValues("refused", reason)
	}
	return m
}

func counter(name string) *prometheus.CounterVec {
	i := instrument(name)
	return prometheus.NewCounterVec(prometheus.CounterOpts{Name: i.Name, Help: i.Help}, i.Labels)
}

func gauge(name string) *prometheus.GaugeVec {
	i := instrument(name)
	return prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: i.Name, Help: i.Help}, i.Labels)
}

func histogram(name string) *prometheus.HistogramVec {
	i := instrument(name)
	return prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: i.Name, Help: i.Help, Buckets: i.Buckets}, i.Labels)
}

// ZonesFrom sets where the zones' samples come from; until then none are shown.
func (m *Metrics) ZonesFrom(s Source) { m.source.Store(&s) }

// Message counts a message by its result and the reason of a refusal, "" for one
// that was accepted.
func (m *Metrics) Message(result, reason string) {
	if reason == "" && result == "accepted" {
		m.accepted.Inc()
		return
	}
	m.messages.WithLabelValues(result, reason).Inc()
}

// Site makes a site's series, at 0, and says how many zones it has.
func (m *Metrics) Site(site string, zones int) {
	m.zones.WithLabelValues(site).Set(float64(zones))
	m.asked.WithLabelValues(site)
	m.drybacks.WithLabelValues(site)
}

// NoSite forgets a site that a reload has taken away. Its counters stay: they
// count what the daemon did.
func (m *Metrics) NoSite(site string) { m.zones.DeleteLabelValues(site) }

// Advice counts an advice that was issued.
func (m *Metrics) Advice(site, action string) { m.advice.WithLabelValues(site, action).Inc() }

// Asked counts an advice that asked a person for a decision.
func (m *Metrics) Asked(site string) { m.asked.WithLabelValues(site).Inc() }

// verdicts is the closed set of what a person may decide.
var verdicts = [...]string{"approve", "reject", "withdraw"}

// Decision counts a decision and what became of it. A verdict that is none comes
// from outside and must not become a label: it counts as unreadable.
func (m *Metrics) Decision(site, verdict, result string) {
	label := "unreadable"
	for _, v := range verdicts {
		if v == verdict {
			label = v
		}
	}
	m.decisions.WithLabelValues(site, label, result).Inc()
}

// Dryback takes the depth of a completed dryback, as a share of the peak.
func (m *Metrics) Dryback(site string, share float64) {
	m.drybacks.WithLabelValues(site).Observe(share)
}

// BrokerConnected says whether the broker is connected.
func (m *Metrics) BrokerConnected(yes bool) { m.broker.Set(truth(yes)) }

// Standby says whether this daemon waits for another's end.
func (m *Metrics) Standby(yes bool) { m.standby.Set(truth(yes)) }

// LedgerUnreadable says how many records of the ledger were left out, for nobody can read
// them.
func (m *Metrics) LedgerUnreadable(n int) { m.unreadable.Set(float64(n)) }

// LedgerWritable says whether the ledger can be written.
func (m *Metrics) LedgerWritable(yes bool) { m.ledger.Set(truth(yes)) }

// Register adds a collector of another part of the daemon.
func (m *Metrics) Register(c prometheus.Collector) error { return m.registry.Register(c) }
