package intake

import (
	"sync"
	"time"

	"rhizostat/service/wire"
)

// What an edge node is asked for, and how often (common practice, no source): its
// birth certificates once, then not again before firstPause, and ever more seldom up
// to lastPause while it does not answer. One that answers and goes on losing messages
// is asked every firstPause at most.
const (
	firstPause = 30 * time.Second
	lastPause  = 15 * time.Minute
)

// maxAliases bounds the aliases of one birth certificate: a thousand zones of twenty
// metrics (common practice, no source). What comes after them is known by name alone.
const maxAliases = 20000

// edgeID names an edge node.
type edgeID struct{ group, node string }

// edge is what is known of one edge node that speaks Sparkplug B.
//
// Data name their metrics by aliases that only the birth certificates explain, and
// those are not retained: who comes late, or has lost a message, has to ask for them.
// A Host Application of the specification waits a while for messages out of order and
// then asks; MQTT keeps the order of one publisher, so a gap here is a loss, and this
// one asks at once. A gap costs nothing else: the aliases that are known go on, for
// they change only with a birth, and a new connection's birth comes after a death
// certificate, which is delivered at least once and forgets them all.
//
// A death certificate says nothing to the zones: their readings stop, and grow old by
// the rules for any silent probe. One that is of an earlier connection (its bdSeq is
// another than the birth's), sent by a broker that has only now missed it, is ignored.
type edge struct {
	id   edgeID
	site string // that speaks for it where it must be asked: the first that names it

	mu      sync.Mutex
	own     family             // metrics of the edge node itself
	devices map[string]*family // that site files name

	bdSeq    uint64 // of the newest birth
	hasBdSeq bool
	seq      uint64 // of the newest message
	counts   bool   // seq is known

	asked time.Time     // for births, zero: not yet
	pause time.Duration // before it may be asked again
}

// family is the metrics of an edge node itself, or of one device.
type family struct {
	mapped  node             // by the levels of their names
	outputs map[int][]string // names of the metrics that take setpoints, by output

	born    bool
	byAlias map[uint64]*metric // nil: nobody has mapped it
	byName  map[string]*metric // of those that are mapped
}

// metric is a metric that is mapped, as its birth certificate declares it.
type metric struct {
	to       match
	declared wire.SparkplugType
	twice    bool // another metric has its alias too
}

// filters are the topic filters of an edge node: all of its devices, for the sequence
// numbers are counted over them all.
func (id edgeID) filters() []string {
	var out []string
	for _, m := range [...]wire.SparkplugMessage{wire.NodeBirth, wire.NodeData, wire.NodeDeath} {
		out = append(out, wire.SparkplugTopic{Group: id.group, Message: m, EdgeNode: id.node}.String())
	}
	for _, m := range [...]wire.SparkplugMessage{wire.DeviceBirth, wire.DeviceData, wire.DeviceDeath} {
		out = append(out, wire.SparkplugTopic{Group: id.group, Message: m, EdgeNode: id.node, Device: "+"}.String())
	}
	return out
}

// edge finds an edge node, or begins to know of it.
func (r *Router) edge(group, node, site string) *edge {
	id := edgeID{group, node}
	e := r.edges[id]
	if e == nil {
		e = &edge{id: id, site: site, devices: map[string]*family{}}
		r.edges[id] = e
	}
	return e
}

// named gives the family of a device, or of the edge node where there is none, and
// begins it.
func (e *edge) named(device string) *family {
	if device == "" {
		return &e.own
	}
	f := e.devices[device]
	if f == nil {
		f = new(family)
		e.devices[device] = f
	}
	return f
}

// of is the family that a message speaks of, nil where no site file names its device.
func (e *edge) of(t *wire.SparkplugTopic) *family {
	if t.Device == "" {
		return &e.own
	}
	return e.devices[t.Device]
}

// forget drops all that births have said.
func (e *edge) forget() {
	e.own.forget()
	for _, f := range e.devices {
		f.forget()
	}
	e.hasBdSeq, e.counts = false, false
}

func (f *family) forget() { f.born, f.byAlias, f.byName = false, nil, nil }

// follows takes the sequence number of a message and tells whether it is the one after
// the message before; the first one of all follows anything.
func (e *edge) follows(p *wire.SparkplugPayload) bool {
	if !p.HasSeq {
		return true // it is refused elsewhere or says nothing
	}
	ok := !e.counts || p.Seq == wire.NextSparkplugSequence(e.seq)
	e.seq, e.counts = p.Seq, true
	return ok
}

// ask tells whether the edge node may be asked for its births now.
func (e *edge) ask(at time.Time) bool {
	if at.IsZero() { // a recording without stamps
		return false
	}
	if since := at.Sub(e.asked); !e.asked.IsZero() && since >= 0 && since < e.pause {
		return false
	}
	e.asked = at
	e.pause = max(firstPause, min(2*e.pause, lastPause))
	return true
}

// answered notes a birth of the edge node.
func (e *edge) answered() { e.pause = min(e.pause, firstPause) }
