package intake

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"rhizostat/policy/sensing"
	"rhizostat/service/wire"
)

// Metrics are the mapped metrics of an edge node, or of one of its devices.
type Metrics struct {
	Group, EdgeNode string
	Device          string // "": metrics of the edge node itself
	Metrics         []Metric
}

// Metric maps one metric, or those of several zones and probes, to a signal.
type Metric struct {
	Name   string // levels {zone} and {probe} stand for ids of the site
	Signal sensing.Signal
	Unit   string // "" for the signal's base unit
}

// Output is an edge node or device that takes setpoints: its births are told to the
// Listener.
type Output struct {
	Site                    string
	Group, EdgeNode, Device string
	Names                   []string // of the metrics that take them
}

// Listener takes what comes of an edge node's messages beside readings. Its functions
// are called in the goroutine that decodes, after the readings were emitted; none may
// block. Those that are nil are not called.
type Listener struct {
	// Rebirth asks an edge node for its birth certificates, for a site's sake.
	Rebirth func(site, group, edgeNode string, at time.Time)
	// Born tells that an output was born, and which data types it declares for the
	// metrics of its setpoints.
	Born func(output int, types map[string]wire.SparkplugType, at time.Time)
}

// Listen names the listener, before the first message.
func (r *Router) Listen(l Listener) { r.listener = l }

// Reconnected forgets all births at a new connection, for edge nodes may have been born
// anew meanwhile, and asks for them.
func (r *Router) Reconnected(at time.Time) {
	var ask []*edge
	for _, e := range r.edges {
		e.mu.Lock()
		e.forget()
		if e.ask(at) {
			ask = append(ask, e)
		}
		e.mu.Unlock()
	}
	slices.SortFunc(ask, func(a, b *edge) int {
		return strings.Compare(a.id.group+"/"+a.id.node, b.id.group+"/"+b.id.node)
	})
	for _, e := range ask {
		r.rebirth(e, at)
	}
}

func (r *Router) rebirth(e *edge, at time.Time) {
	if r.listener.Rebirth != nil {
		r.listener.Rebirth(e.site, e.id.group, e.id.node, at)
	}
}

// name is how a mapping is told from others in an error.
func (m *Mapping) name() string {
	if s := m.Sparkplug; s != nil {
		return "sparkplug " + strings.TrimSuffix(s.Group+"/"+s.EdgeNode+"/"+s.Device, "/")
	}
	return m.Topic
}

// addMetrics hangs the metrics of a mapping into the trie of their edge node or device.
func (r *Router) addMetrics(m *Mapping) error {
	s := m.Sparkplug
	if m.JSON != nil || m.Number != nil || m.Topic != "" {
		return errors.New("sparkplug stands beside another form; expected one of json, number and sparkplug")
	}
	for _, id := range []string{s.Group, s.EdgeNode} {
		if !wire.IsSparkplugID(id) {
			return fmt.Errorf("%q is not an id of Sparkplug B; expected text without +, # and /", id)
		}
	}
	if s.Device != "" && !wire.IsSparkplugID(s.Device) {
		return fmt.Errorf("%q is not an id of Sparkplug B; expected text without +, # and /", s.Device)
	}
	f := r.edge(s.Group, s.EdgeNode, m.Site).named(s.Device)
	var errs []error
	for i := range s.Metrics {
		metric := &s.Metrics[i]
		one := *m
		one.Topic, one.Sparkplug = metric.Name, nil // a metric's name has levels as a topic has
		t, err := newTarget(&one, &Field{Signal: metric.Signal, Unit: metric.Unit})
		if err == nil {
			err = r.hang(&f.mapped, &one, &decoding{number: true, field: t, probe: one.Probe != "" || hasLevel(one.Topic, probeLevel)})
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("metric %s: %w", metric.Name, err))
		}
	}
	return errors.Join(errs...)
}

func (r *Router) addOutput(i int, o *Output) {
	f := r.edge(o.Group, o.EdgeNode, o.Site).named(o.Device)
	if f.outputs == nil {
		f.outputs = map[int][]string{}
	}
	f.outputs[i] = o.Names
}
