package link

import (
	"context"
	"sync"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// inFlight is how many publishes wait for their acknowledgement at once.
const inFlight = 64

// message is one output.
type message struct {
	topic   string
	payload []byte
	qos     byte
	retain  bool
	number  int    // of one that is said once, from 1
	latest  string // of one that is not retained: what a newer one must agree in to take its place
	gone    func() // called once it has been sent, unless a newer one took its place; may be nil
}

// place names what of it only the newest counts, "" of a message that counts in any
// case.
func (m *message) place() string {
	if m.retain {
		return m.topic
	}
	return m.latest
}

// outbox holds what must still be published: the newest payload of each
// retained topic, the newest command of each kind, and every other message, in the
// order they came. What was in flight when a connection broke is sent again on the next
// unless something newer has come.
type outbox struct {
	mu      sync.Mutex
	queue   []*message
	waiting map[string]*message // not yet sent, by place
	busy    map[string]bool     // a publish of the topic is in flight
	owed    int                 // that must arrive, waiting or in flight
	said    int                 // the number of the newest that is said once
	unsaid  map[int]bool        // the numbers of those that the broker has not taken
	later   []afterwards        // in order of mark
	poke    chan struct{}
}

// afterwards is what is done once the broker has every message that is said once up
// to a number.
type afterwards struct {
	mark int
	do   func()
}

func newOutbox() *outbox {
	return &outbox{waiting: map[string]*message{}, busy: map[string]bool{}, unsaid: map[int]bool{}, poke: make(chan struct{}, 1)}
}

// put queues a message; a newer payload takes the place of an older one of the
// same place.
func (o *outbox) put(m message) {
	o.mu.Lock()
	o.add(&m, false)
	o.mu.Unlock()
	o.wake()
}

func (o *outbox) add(m *message, back bool) {
	if place := m.place(); place != "" {
		if old := o.waiting[place]; old != nil {
			if !back {
				o.owed += owed(m) - owed(old)
				*old = *m
			}
			return
		}
		o.waiting[place] = m
	} else if !back {
		o.said++
		m.number = o.said
		o.unsaid[m.number] = true
	}
	o.owed += owed(m)
	if back {
		o.queue = append([]*message{m}, o.queue...)
		return
	}
	o.queue = append(o.queue, m)
}

func (o *outbox) wake() {
	select {
	case o.poke <- struct{}{}:
	default: // the sender is awake already
	}
}

// next takes the first message whose topic has nothing in flight.
func (o *outbox) next() *message {
	o.mu.Lock()
	defer o.mu.Unlock()
	for i, m := range o.queue {
		if o.busy[m.topic] {
			continue
		}
		if i == 0 {
			o.queue = o.queue[1:]
		} else {
			o.queue = append(o.queue[:i], o.queue[i+1:]...)
		}
		if place := m.place(); place != "" {
			delete(o.waiting, place)
		}
		o.busy[m.topic] = true
		return m
	}
	return nil
}

// done ends a publish; what failed goes back to the front unless a newer one
// of its topic waits.
func (o *outbox) done(m *message, err error) {
	o.mu.Lock()
	delete(o.busy, m.topic)
	o.owed -= owed(m)
	if err != nil {
		o.add(m, true)
	} else {
		delete(o.unsaid, m.number)
	}
	due := o.due()
	o.mu.Unlock()
	for _, do := range due {
		do()
	}
	o.wake()
	if err == nil && m.gone != nil {
		m.gone()
	}
}

// after calls do once the broker has all that has been said once so far: an answer
// that was lost after its decision had been acknowledged would never come again. Do
// must not block.
func (o *outbox) after(do func()) {
	o.mu.Lock()
	o.later = append(o.later, afterwards{o.said, do})
	due := o.due()
	o.mu.Unlock()
	for _, do := range due {
		do()
	}
}

// due takes what nothing is waited for any more.
func (o *outbox) due() (due []func()) {
	oldest := o.said + 1
	for number := range o.unsaid {
		oldest = min(oldest, number)
	}
	for len(o.later) > 0 && o.later[0].mark < oldest {
		due = append(due, o.later[0].do)
		o.later = o.later[1:]
	}
	return due
}

// owed is 1 of a message that must arrive: at QoS 1, and a command, which goes at QoS 0
// and may take back what would be in force for ever. The rest comes again by itself.
func owed(m *message) int {
	if m.qos > 0 || m.latest != "" {
		return 1
	}
	return 0
}

// delivered reports whether every message that must arrive has gone: those at QoS 1 are
// with the broker, commands are on their way.
func (o *outbox) delivered() bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.owed == 0
}

// follow takes from the outbox of before a reload what is said once: what is
// retained is published anew anyway. It goes before what waits here already, which is
// newer: a setpoint of before must not come after the word that took it back.
func (o *outbox) follow(before *outbox) {
	before.mu.Lock()
	defer before.mu.Unlock()
	o.mu.Lock()
	defer o.mu.Unlock()
	newer := o.queue
	o.queue = nil
	for _, m := range before.queue {
		if !m.retain && o.waiting[m.latest] == nil {
			o.add(&message{topic: m.topic, payload: m.payload, qos: m.qos, latest: m.latest, gone: m.gone}, false)
		}
	}
	o.queue = append(o.queue, newer...)
}

// length is the number of messages that wait.
func (o *outbox) length() int {
	o.mu.Lock()
	defer o.mu.Unlock()
	return len(o.queue)
}

// serve publishes while a connection lasts. A token is trusted only within
// this connection: on another it would end without meaning anything.
func (o *outbox) serve(ctx context.Context, client mqtt.Client) {
	var flying sync.WaitGroup
	places := make(chan struct{}, inFlight)
	defer flying.Wait()
	for {
		m := o.next()
		if m == nil {
			select {
			case <-ctx.Done():
				return
			case <-o.poke:
				continue
			}
		}
		select {
		case <-ctx.Done():
			o.done(m, ctx.Err())
			return
		case places <- struct{}{}:
		}
		if !client.IsConnectionOpen() {
			// the library would say that all is well
			o.done(m, mqtt.ErrNotConnected)
			<-places
			<-ctx.Done()
			return
		}
		token := client.Publish(m.topic, m.qos, m.retain, m.payload)
		flying.Add(1)
		go func() {
			defer flying.Done()
			o.done(m, wait(ctx, token, connectTimeout))
			<-places
		}()
	}
}
