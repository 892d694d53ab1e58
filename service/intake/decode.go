package intake

import (
	"bytes"
	"errors"
	"io"
	"strconv"
	"sync"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy/sensing"
	"rhizostat/service/wire"
)

// maxPayload bounds a telemetry message, bytes: a pack of a day of one probe by
// the minute fits (common practice, no source).
const maxPayload = 256 << 10

// Decode takes one message and emits what it measured, item by item, in the order
// of the message. It returns nil when all of it was taken and a *Refusal
// otherwise; one that is Partial says that the rest was emitted all the same.
// A message that is refused whole emits nothing.
//
// emit is called before Decode returns, in the same goroutine. payload is not
// kept.
func (r *Router) Decode(topic string, payload []byte, arrived time.Time, emit func(Item)) error {
	return r.decode(topic, payload, arrived, false, emit)
}

// DecodeRetained is Decode of a message that the broker had kept and gives to
// whoever comes: its arrival says nothing of when it was measured, and it comes
// again at every connect. Native telemetry is refused. Of a foreign topic, whose
// owner may have no choice, those readings are taken that carry their own time, and
// of these no volume of one event: it has been counted when it came.
func (r *Router) DecodeRetained(topic string, payload []byte, arrived time.Time, emit func(Item)) error {
	return r.decode(topic, payload, arrived, true, emit)
}

func (r *Router) decode(topic string, payload []byte, arrived time.Time, retained bool, emit func(Item)) error {
	if s, reason, where, ok := r.native(topic); ok {
		if reason == "" && retained {
			reason = Retained
		}
		if reason != "" {
			return &Refusal{Reason: reason, Topic: topic, Where: where}
		}
		return decodeWith(topic, payload, arrived.UTC(), false, emit, &s, nil)
	}
	if wire.IsSparkplug(topic) {
		return r.sparkplug(topic, payload, arrived.UTC(), retained, emit)
	}
	var m match
	if !r.foreign.find(topic, &m) {
		if m.reason == "" {
			m.reason = UnknownTopic
		}
		return &Refusal{Reason: m.reason, Topic: topic, Where: m.where}
	}
	if m.fixed == nil {
		s, _ := m.one.sourceOf(m.probe)
		return decodeWith(topic, payload, arrived.UTC(), retained, emit, &s, m.one.mapping)
	}
	var first error
	for i := range m.fixed { // several sites may share a weather station
		s, ok := m.fixed[i].sourceOf(m.probe)
		if !ok {
			continue
		}
		if err := decodeWith(topic, payload, arrived.UTC(), retained, emit, &s, m.fixed[i].mapping); err != nil && first == nil {
			first = err
		}
	}
	return first
}

// reader is the memory of one message, used again for the next. Nothing in it
// outlives a call.
type reader struct {
	dec      jsontext.Decoder
	buf      bytes.Buffer
	source   source
	mapping  *decoding // nil for native telemetry
	arrived  time.Time
	readings []reading
	name     []byte // the name being read
	pack     senMLBase
	record   senMLRecord
	refusal  Refusal // the first signal that was not taken
	whole    Refusal // where the message broke, if it did
}

// reading is what the message says for one instant.
type reading struct {
	at     time.Time
	own    bool // the time is the message's own
	values sensing.Values
	zone   sensing.Values // zone-wide signals of a mapping that names a probe
}

var readers = sync.Pool{New: func() any { return &reader{readings: make([]reading, 0, 8)} }}

func decodeWith(topic string, payload []byte, arrived time.Time, retained bool, emit func(Item), s *source, mapping *decoding) error {
	rd := readers.Get().(*reader)
	defer rd.done()
	rd.source, rd.mapping, rd.arrived = *s, mapping, arrived
	reason := rd.decode(payload)
	if reason == "" && retained {
		rd.dropStale()
	}
	if reason != "" {
		rd.readings = rd.readings[:0]
		rd.refusal = rd.whole // it outweighs what was wrong with one signal
		rd.refusal.Reason = reason
	} else if !rd.emit(emit) && rd.refusal.Reason == "" {
		rd.refusal.Reason = Empty
	}
	if rd.refusal.Reason == "" {
		return nil
	}
	refusal := rd.refusal
	refusal.Topic, refusal.Partial = topic, len(rd.readings) > 0
	return &refusal
}

// done gives the reader back, without a grown pack's memory.
func (rd *reader) done() {
	rd.buf = bytes.Buffer{}
	rd.mapping, rd.refusal, rd.whole = nil, Refusal{}, Refusal{}
	const keep = 256
	if cap(rd.readings) > keep {
		rd.readings = make([]reading, 0, 8)
	}
	rd.readings = rd.readings[:0]
	readers.Put(rd)
}

// decode reads the payload by its form. A reason refuses all of the message.
func (rd *reader) decode(payload []byte) Reason {
	switch {
	case len(payload) > maxPayload:
		return TooLarge
	case len(payload) == 0:
		return Empty
	case rd.mapping != nil && rd.mapping.number:
		return rd.plain(payload)
	}
	rd.buf = *bytes.NewBuffer(payload) // the decoder reads it in place
	rd.dec.Reset(&rd.buf)
	var reason Reason
	switch {
	case rd.mapping != nil:
		reason = rd.foreign()
	default:
		switch rd.dec.PeekKind() {
		case '[':
			reason = rd.senML(takeSenML)
		case '{':
			reason = rd.flat()
		default:
			if _, err := rd.dec.ReadValue(); err != nil {
				return rd.broken(err)
			}
			return Malformed
		}
	}
	if reason != "" {
		return reason
	}
	if _, err := rd.dec.ReadToken(); !errors.Is(err, io.EOF) {
		return NotJSON // something follows the value
	}
	return ""
}

// broken gives the reason for what the JSON decoder says.
func (rd *reader) broken(err error) Reason {
	if errors.Is(err, jsontext.ErrDuplicateName) {
		return Malformed
	}
	return NotJSON
}

// add gives the reading of an instant that lacks a signal, a new one if there is
// none: a second value for the same instant is not written over the first, its
// zone will find it doubled. Only the last few are looked at, for packs come in
// order of time.
func (rd *reader) add(at time.Time, own bool, s sensing.Signal) *reading {
	const back = 64
	for i := len(rd.readings) - 1; i >= 0 && i >= len(rd.readings)-back; i-- {
		if r := &rd.readings[i]; r.own == own && r.at.Equal(at) && !r.values.Has(s) {
			return r
		}
	}
	rd.readings = append(rd.readings, reading{at: at, own: own})
	return &rd.readings[len(rd.readings)-1]
}

// emit hands on what a source said at an instant, of itself and of its zone, and reports
// whether there was anything.
func (r *reading) emit(from source, emit func(Item)) bool {
	item := Item{ZoneIndex: from.zone, ClimateIndex: from.climate, Source: from.probe, At: r.at, HasTime: r.own}
	if !r.values.Empty() {
		item.Values = r.values
		emit(item)
	}
	if !r.zone.Empty() {
		item.Source, item.Values = ZoneWide, r.zone
		emit(item)
	}
	return !r.values.Empty() || !r.zone.Empty()
}

// emit hands on what was read and reports whether there was anything.
func (rd *reader) emit(emit func(Item)) bool {
	any := false
	for i := range rd.readings {
		any = rd.readings[i].emit(rd.source, emit) || any
	}
	if !any {
		rd.readings = rd.readings[:0]
	}
	return any
}

// dropStale leaves of a retained message what is sound whenever it was measured:
// readings with a time of their own, without what is counted by its coming.
func (rd *reader) dropStale() {
	for i := range rd.readings {
		r := &rd.readings[i]
		if !r.own {
			if !r.values.Empty() || !r.zone.Empty() {
				rd.drop(Retained, []byte("time"), nil)
			}
			r.values, r.zone = sensing.Values{}, sensing.Values{}
			continue
		}
		for _, s := range [...]sensing.Signal{sensing.IrrigationVolume, sensing.DrainVolume} {
			if r.values.Has(s) || r.zone.Has(s) {
				rd.drop(Retained, []byte(s.String()), nil)
				r.values.Drop(s)
				r.zone.Drop(s)
			}
		}
	}
}

// fail notes where a message breaks that is refused whole.
func (rd *reader) fail(reason Reason, where, value []byte) Reason {
	rd.whole = Refusal{Where: shown(where), Value: shown(value)}
	return reason
}

// drop notes the first signal or field that is not taken.
func (rd *reader) drop(reason Reason, where, value []byte) {
	if rd.refusal.Reason == "" {
		rd.refusal = Refusal{Reason: reason, Where: shown(where), Value: shown(bytes.TrimSpace(value))}
	}
}

// dropValue is drop for a value that was worked out, in its unit.
func (rd *reader) dropValue(reason Reason, where []byte, value float64, unit []byte) {
	if rd.refusal.Reason == "" {
		rd.drop(reason, where, append(append(strconv.AppendFloat(nil, value, 'g', -1, 64), ' '), unit...))
	}
}

// parseNumber reads a number as JSON writes it. One that float64 cannot hold is an
// infinity, which no signal can be.
func parseNumber(raw []byte) (float64, bool) {
	x, err := strconv.ParseFloat(string(raw), 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) {
		return 0, false
	}
	return x, true
}

// scalar reads a JSON value as a number: itself, or a valve's true or false.
func scalar(s sensing.Signal, raw []byte) (float64, bool) {
	switch raw[0] {
	case 't':
		return 1, s == sensing.ValveOpen
	case 'f':
		return 0, s == sensing.ValveOpen
	case '"', '{', '[', 'n':
		return 0, false
	}
	return parseNumber(raw)
}

// signals finds a signal by its name on the wire.
var signals = func() map[string]sensing.Signal {
	m := make(map[string]sensing.Signal, sensing.SignalCount)
	for i := range sensing.Signals {
		m[sensing.Signals[i].Name] = sensing.Signal(i)
	}
	return m
}()
