package intake

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"rhizostat/policy/sensing"
	"rhizostat/service/wire"
)

// maxBirth bounds a birth certificate, bytes: it has every metric with its name.
const maxBirth = 512 << 10

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

// metricsReader is the memory of one message.
type metricsReader struct {
	payload  wire.SparkplugPayload
	arrived  time.Time
	birth    bool
	readings []metricReading
	refusal  Refusal // the first metric that was not taken
	ask      bool    // for births
	born     []declared
}

// metricReading is what a message says of one source for one instant.
type metricReading struct {
	source source
	reading
}

// declared is what a birth says of an output.
type declared struct {
	output int
	types  map[string]wire.SparkplugType
}

var metricsReaders = sync.Pool{New: func() any { return new(metricsReader) }}

func (rd *metricsReader) done() {
	const keep = 256
	if cap(rd.readings) > keep {
		rd.readings = nil
	}
	*rd = metricsReader{readings: rd.readings[:0]}
	metricsReaders.Put(rd)
}

// sparkplug takes a message of an edge node. Nothing of Sparkplug B is retained but
// the state of hosts: what was kept all the same is of an unknown life of its node.
func (r *Router) sparkplug(topic string, payload []byte, arrived time.Time, retained bool, emit func(Item)) error {
	t, ok := wire.ParseSparkplugTopic(topic)
	e := r.edges[edgeID{t.Group, t.EdgeNode}]
	if !ok || e == nil {
		return &Refusal{Reason: UnknownTopic, Topic: topic}
	}
	limit := maxPayload
	switch t.Message {
	case wire.NodeBirth, wire.DeviceBirth:
		limit = maxBirth
	case wire.NodeData, wire.DeviceData, wire.NodeDeath, wire.DeviceDeath:
	default:
		return &Refusal{Reason: UnknownTopic, Topic: topic} // a command, ours or another's
	}
	switch {
	case retained:
		return &Refusal{Reason: Retained, Topic: topic}
	case len(payload) > limit:
		return &Refusal{Reason: TooLarge, Topic: topic}
	}
	p, err := wire.ParseSparkplug(payload)
	if err != nil {
		return &Refusal{Reason: NotSparkplug, Topic: topic, Value: err.Error()}
	}
	rd := metricsReaders.Get().(*metricsReader)
	defer rd.done()
	rd.payload, rd.arrived = p, arrived
	e.mu.Lock()
	rd.take(e, &t)
	ask := rd.ask && e.ask(arrived)
	e.mu.Unlock()
	any := rd.emit(emit)
	if ask {
		r.rebirth(e, arrived)
	}
	if r.listener.Born != nil {
		for _, b := range rd.born {
			r.listener.Born(b.output, b.types, arrived)
		}
	}
	if rd.refusal.Reason == "" {
		return nil
	}
	refusal := rd.refusal
	refusal.Topic = topic
	// what a birth declares was taken, and a message after a gap was
	refusal.Partial = any || rd.birth || refusal.Reason == SequenceGap
	return &refusal
}

// take takes a message by its type.
func (rd *metricsReader) take(e *edge, t *wire.SparkplugTopic) {
	gap := false
	switch t.Message {
	case wire.NodeBirth: // all that was before it is over
		e.forget()
		e.follows(&rd.payload)
		e.bdSeq, e.hasBdSeq = birthSequence(&rd.payload)
		e.answered()
		rd.readBirth(&e.own)
	case wire.NodeDeath:
		rd.death(e)
	case wire.DeviceBirth:
		gap = !e.follows(&rd.payload)
		if f := e.of(t); f != nil {
			rd.readBirth(f)
		}
	case wire.DeviceDeath:
		gap = !e.follows(&rd.payload)
		if f := e.of(t); f != nil {
			f.forget()
		}
	default:
		gap = !e.follows(&rd.payload)
		if f := e.of(t); f != nil {
			rd.readData(f)
		}
	}
	if gap {
		rd.ask = true
		rd.drop(SequenceGap, "", "")
	}
}

// death forgets an edge node that has gone.
func (rd *metricsReader) death(e *edge) {
	if seq, ok := birthSequence(&rd.payload); ok && e.hasBdSeq && seq != e.bdSeq {
		rd.drop(OldDeath, wire.SparkplugBirthSequence, fmt.Sprint(seq))
		return
	}
	e.forget()
}

// birthSequence finds the metric that says which connection a certificate is of.
func birthSequence(p *wire.SparkplugPayload) (seq uint64, ok bool) {
	for m := range p.Metrics {
		if string(m.Name) == wire.SparkplugBirthSequence && (m.Value == wire.LongValue || m.Value == wire.IntValue) {
			seq, ok = m.Bits, true
		}
	}
	return seq, ok
}

// readBirth takes a birth certificate: what the metrics are, and what they are now.
func (rd *metricsReader) readBirth(f *family) {
	rd.birth = true
	f.born, f.byAlias, f.byName = true, map[uint64]*metric{}, map[string]*metric{}
	var types map[string]wire.SparkplugType
	if len(f.outputs) > 0 {
		types = map[string]wire.SparkplugType{}
	}
	for m := range rd.payload.Metrics {
		if len(m.Name) == 0 {
			rd.drop(NotSparkplug, "", "a birth certificate with a metric that has no name")
			continue
		}
		name := string(m.Name)
		if types != nil {
			types[name] = m.Type
		}
		var one *metric
		if found := (metric{declared: m.Type}); f.mapped.find(name, &found.to) {
			one = &found
			f.byName[name] = one
		} else if found.to.reason != "" {
			rd.drop(found.to.reason, name, "")
		}
		if m.HasAlias {
			rd.alias(f, m.Alias, one)
		}
		if one != nil {
			rd.value(m, one)
		}
	}
	for i, names := range f.outputs {
		b := declared{i, map[string]wire.SparkplugType{}}
		for _, name := range names {
			if t, ok := types[name]; ok {
				b.types[name] = t
			}
		}
		rd.born = append(rd.born, b)
	}
	slices.SortFunc(rd.born, func(a, b declared) int { return a.output - b.output })
}

// twice is what is wrong with an alias of two metrics.
const twice = "it stands for two metrics"

// alias notes what an alias stands for. One that stands for two metrics stands for
// none: which of the two a reading is of would be a guess.
func (rd *metricsReader) alias(f *family, alias uint64, one *metric) {
	if _, ok := f.byAlias[alias]; ok {
		f.byAlias[alias] = &metric{twice: true}
		rd.dropMetric(NotSparkplug, &wire.SparkplugMetric{Alias: alias}, twice)
		return
	}
	if len(f.byAlias) >= maxAliases {
		rd.drop(TooLarge, "aliases", "more than "+strconv.Itoa(maxAliases))
		return
	}
	f.byAlias[alias] = one
}

// readData takes the metrics that have changed. One that tells its own name and type is
// taken whether or not a birth was seen.
func (rd *metricsReader) readData(f *family) {
	if rd.payload.Count == 0 {
		rd.drop(Empty, "", "")
	}
	rd.ask = rd.ask || !f.born
	for m := range rd.payload.Metrics {
		if len(m.Name) > 0 {
			one := f.byName[string(m.Name)]
			if one == nil {
				if one = new(metric); !f.mapped.find(string(m.Name), &one.to) {
					continue // nobody asked for it
				}
			}
			rd.value(m, one)
			continue
		}
		one, ok := f.byAlias[m.Alias]
		switch {
		case !m.HasAlias:
			rd.drop(NotSparkplug, "", "a metric without name and alias")
		case !ok:
			rd.ask = true
			rd.dropMetric(Unborn, m, "")
		case one == nil: // nobody asked for it
		case one.twice:
			rd.dropMetric(NotSparkplug, m, twice)
		default:
			rd.value(m, one)
		}
	}
}

// value takes what a metric says now for each signal that it is mapped to.
func (rd *metricsReader) value(m *wire.SparkplugMetric, one *metric) {
	at, own, reason := rd.instant(m)
	switch {
	case m.Null:
		reason = NullValue
	case m.Quality != wire.SparkplugGood:
		reason = BadQuality
	}
	if reason != "" {
		rd.dropMetric(reason, m, "")
		return
	}
	if one.to.fixed == nil {
		rd.receive(m, one, &one.to.one, at, own)
		return
	}
	for i := range one.to.fixed {
		rd.receive(m, one, &one.to.fixed[i], at, own)
	}
}

// instant is when a metric was measured: its own time, else the message's, else its
// arrival. What was buffered has none but its own.
func (rd *metricsReader) instant(m *wire.SparkplugMetric) (at time.Time, own bool, reason Reason) {
	ms := m.Timestamp
	switch {
	case m.HasTimestamp:
	case m.Historical:
		return at, false, NotATime
	case rd.payload.HasTimestamp:
		ms = rd.payload.Timestamp
	default:
		return rd.arrived, false, ""
	}
	if ms >= endOfTime*1000 {
		return at, false, NotATime
	}
	return time.UnixMilli(int64(ms)).UTC(), true, ""
}

// receive sets the value of a signal at a metric's source.
func (rd *metricsReader) receive(m *wire.SparkplugMetric, one *metric, to *route, at time.Time, own bool) {
	s, ok := to.sourceOf(one.to.probe)
	if !ok {
		return // of another zone
	}
	signal := to.mapping.field.signal
	x, reason := metricNumber(m, signal, one.declared)
	switch {
	case reason == Unborn:
		rd.ask = true
	case reason == "" && rd.birth && (signal == sensing.IrrigationVolume || signal == sensing.DrainVolume):
		reason = NotAnEvent
	}
	if reason != "" {
		rd.dropMetric(reason, m, "")
		return
	}
	zoneWide := to.mapping.probe && scopeOf[signal]&ofProbe == 0
	r := rd.add(s, at, own, signal, zoneWide)
	v := &r.values
	if zoneWide {
		v = &r.zone
	}
	if reason := put(v, signal, x, to.mapping.field.in); reason != "" {
		rd.dropMetric(reason, m, strconv.FormatFloat(x, 'g', -1, 64))
	}
}

// metricNumber reads a metric as a number of a signal: a number, text that is one, or
// true and false of a valve.
func metricNumber(m *wire.SparkplugMetric, s sensing.Signal, of wire.SparkplugType) (float64, Reason) {
	if m.Type != 0 {
		of = m.Type
	}
	switch m.Value {
	case wire.BooleanValue:
		if s != sensing.ValveOpen || of != 0 && of != wire.SparkplugBoolean {
			return 0, NotANumber
		}
		return float64(min(m.Bits, 1)), ""
	case wire.StringValue:
		if x, ok := plainNumber(s, m.Text); ok && (of == 0 || of == wire.SparkplugString || of == wire.SparkplugText) {
			return x, ""
		}
		return 0, NotANumber
	case wire.IntValue, wire.LongValue:
		if of == 0 {
			return 0, Unborn // whether it is signed, nobody has said
		}
	}
	x, ok := m.Number(of)
	if !ok {
		return 0, NotANumber
	}
	return x, ""
}

// add gives the reading of a source for an instant that lacks a signal, a new one if
// there is none, as for a pack.
func (rd *metricsReader) add(s source, at time.Time, own bool, signal sensing.Signal, zoneWide bool) *reading {
	const back = 64
	for i := len(rd.readings) - 1; i >= 0 && i >= len(rd.readings)-back; i-- {
		r := &rd.readings[i]
		has := r.values.Has(signal)
		if zoneWide {
			has = r.zone.Has(signal)
		}
		if r.source == s && r.own == own && r.at.Equal(at) && !has {
			return &r.reading
		}
	}
	rd.readings = append(rd.readings, metricReading{s, reading{at: at, own: own}})
	return &rd.readings[len(rd.readings)-1].reading
}

// emit hands on what was read and reports whether there was anything.
func (rd *metricsReader) emit(emit func(Item)) bool {
	any := false
	for i := range rd.readings {
		r := &rd.readings[i]
		item := Item{ZoneIndex: r.source.zone, ClimateIndex: r.source.climate, Source: r.source.probe, At: r.at, HasTime: r.own}
		if !r.values.Empty() {
			item.Values = r.values
			emit(item)
			any = true
		}
		if !r.zone.Empty() {
			item.Source, item.Values = ZoneWide, r.zone
			emit(item)
			any = true
		}
	}
	return any
}

// drop notes the first metric that is not taken.
func (rd *metricsReader) drop(reason Reason, where, value string) {
	if rd.refusal.Reason == "" {
		rd.refusal = Refusal{Reason: reason, Where: shown([]byte(where)), Value: shown([]byte(value))}
	}
}

// dropMetric is drop for a metric, by what it calls itself in the message.
func (rd *metricsReader) dropMetric(reason Reason, m *wire.SparkplugMetric, value string) {
	switch {
	case rd.refusal.Reason != "": // a message may have thousands
	case len(m.Name) > 0:
		rd.drop(reason, string(m.Name), value)
	default:
		rd.drop(reason, "alias "+strconv.FormatUint(m.Alias, 10), value)
	}
}
