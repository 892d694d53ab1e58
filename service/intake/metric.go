package intake

import (
	"strconv"
	"time"

	"rhizostat/policy/sensing"
	"rhizostat/service/wire"
)

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
		any = r.emit(r.source, emit) || any
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
