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
	latest  string // of one that is not retained: what a newer one must agree in to take its place
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
	poke    chan struct{}
}

func newOutbox() *outbox {
	return &outbox{waiting: map[string]*message{}, busy: map[string]bool{}, poke: make(chan struct{}, 1)}
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
				*old = *m
			}
			return
		}
		o.waiting[place] = m
	}
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
	if err != nil {
		o.add(m, true)
	}
	o.mu.Unlock()
	o.wake()
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
