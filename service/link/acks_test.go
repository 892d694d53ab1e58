package link

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"
)

// Whoever acknowledges does not wait for a broker that takes nothing, and what is
// acknowledged meanwhile goes out in its order once it does.
func TestAcknowledgingNeverWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := newAcks()
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			a.run(ctx)
		}()
		stalled := make(chan struct{})
		var sent []int
		began := time.Now()
		for i := range 100 {
			a.put(func() {
				<-stalled
				sent = append(sent, i)
			})
		}
		synctest.Wait()
		if took := time.Since(began); took > 0 || a.idle() {
			t.Errorf("100 acknowledgements took %s; idle while the broker takes nothing: %v", took, a.idle())
		}
		close(stalled)
		synctest.Wait()
		if !a.idle() || len(sent) != 100 || !slices.IsSorted(sent) {
			t.Errorf("idle %v after %v", a.idle(), sent)
		}
		stop()
		<-ended
	})
}

// A decision is acknowledged only once the broker has its answer: one that failed is
// waited for until it is sent again, one that comes later is not.
func TestAcknowledgedAfterTheAnswer(t *testing.T) {
	o := newOutbox()
	var done []string
	after := func(what string) { o.after(func() { done = append(done, what) }) }
	want := func(what ...string) {
		t.Helper()
		if !slices.Equal(done, what) {
			t.Fatalf("acknowledged %q, want %q", done, what)
		}
	}
	after("no answer")
	want("no answer")
	answer := func(topic string) { o.put(message{topic: topic, qos: 1}) }
	answer("a")
	after("a")
	o.put(message{topic: "setpoint", qos: 1, retain: true})
	answer("b")
	after("b")
	answer("c")
	a, setpoint, b := o.next(), o.next(), o.next()
	o.done(b, nil)
	o.done(setpoint, nil)
	want("no answer")
	o.done(a, errors.New("the connection ended"))
	want("no answer")
	if o.delivered() {
		t.Error("delivered while two answers wait")
	}
	o.done(o.next(), nil)
	want("no answer", "a", "b")
	o.done(o.next(), nil)
	if !o.delivered() {
		t.Error("not delivered, and nothing waits")
	}
}

// What was not answered before a reload is answered by the next link.
func TestAnswersOutliveAReload(t *testing.T) {
	before, now := newOutbox(), newOutbox()
	before.put(message{topic: "state", retain: true})
	before.put(message{topic: "result", payload: []byte("accepted"), qos: 1})
	now.follow(before)
	if m := now.next(); m == nil || m.topic != "result" || string(m.payload) != "accepted" {
		t.Errorf("it has %+v, want the answer", m)
	}
	if m := now.next(); m != nil {
		t.Errorf("it has %+v too", m)
	}
}

// Decisions that a broker gives again at a connection are answered and acknowledged however
// many there are: one broker takes the numbers that it gave them for those of our requests,
// and until we are subscribed nothing is acknowledged.
func TestManyDecisionsWaitAtAConnection(t *testing.T) {
	const decisions = 60
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var l *Link
	begin := func() (stop func()) {
		l = testLink(address, Handlers{Control: func(_ int, topic string, payload []byte, ack func()) {
			l.Publish(0, topic+"/result", payload, 1, false)
			ack()
		}})
		return run(t, l)
	}
	stop := begin()
	eventually(t, "connected", func() bool { return l.Connected() })
	stop()
	for i := range decisions {
		if err := server.Publish("r/north/a/decision", fmt.Append(nil, i), false, 1); err != nil {
			t.Fatal(err)
		}
	}
	var answers inbox
	answers.follow(t, server, "r/north/a/decision/result")
	stop = begin()
	defer stop()
	eventually(t, "every decision answered and acknowledged", func() bool {
		c, ok := server.Clients.Get("test-north")
		return ok && c.State.Inflight.Len() == 0 && answers.count() >= decisions
	})
}
