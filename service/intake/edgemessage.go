package intake

import (
	"fmt"
	"sync"
	"time"

	"rhizostat/service/wire"
)

// maxBirth bounds a birth certificate, bytes: it has every metric with its name.
const maxBirth = 512 << 10

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
