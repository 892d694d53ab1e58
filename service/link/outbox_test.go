package link

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"
)

// sends takes all that may be sent now, as topic=payload, and lets it arrive or fail.
func (o *outbox) sends(err error) (out []string) {
	var flying []*message
	for m := o.next(); m != nil; m = o.next() {
		out = append(out, m.topic+"="+string(m.payload))
		flying = append(flying, m)
	}
	for _, m := range flying {
		o.done(m, err)
	}
	return out
}

// Of commands that wait only the latest of each kind is sent, in place of the first;
// what failed does not come back over a newer one. Messages without a name all count.
func TestOnlyTheLatestCommandWaits(t *testing.T) {
	o := newOutbox()
	command := func(latest, payload string) { o.put(message{topic: "dcmd", payload: []byte(payload), latest: latest}) }
	command("dcmd a", "a1")
	command("dcmd b", "b1")
	o.put(message{topic: "result", payload: []byte("1")})
	command("dcmd a", "a2")
	o.put(message{topic: "result", payload: []byte("2")})
	command("dcmd a", "a3")
	if o.length() != 4 {
		t.Errorf("%d messages wait", o.length())
	}
	if got := o.sends(errors.New("the connection ended")); !slices.Equal(got, []string{"dcmd=a3", "result=1"}) {
		t.Errorf("sent %q: one of each topic is in flight at a time", got)
	}
	command("dcmd a", "a4")
	var got []string
	for range 3 {
		got = append(got, o.sends(nil)...)
	}
	slices.Sort(got)
	if !slices.Equal(got, []string{"dcmd=a4", "dcmd=b1", "result=1", "result=2"}) {
		t.Errorf("then sent %q", got)
	}
}

// What a reload takes back is said though what it takes back still waits: the setpoint
// of before does not come over the null that takes its place. The rest is brought along.
func TestWhatWaitedBeforeAReloadReplacesNothing(t *testing.T) {
	before, now := newOutbox(), newOutbox()
	command := func(o *outbox, topic, payload string) {
		o.put(message{topic: topic, payload: []byte(payload), latest: topic + " a"})
	}
	command(before, "left", "300")
	command(before, "kept", "150")
	before.put(message{topic: "state", payload: []byte("wet"), retain: true, qos: 1})
	before.put(message{topic: "result", payload: []byte("1"), qos: 1})
	before.put(message{topic: "left", payload: []byte("rebirth")})
	command(now, "left", "null")
	now.put(message{topic: "kept", payload: []byte("former null"), latest: "kept a former"})
	now.follow(before)
	got := slices.Concat(now.sends(nil), now.sends(nil))
	if want := []string{"kept=150", "result=1", "left=rebirth", "left=null", "kept=former null"}; !slices.Equal(got, want) {
		t.Errorf("after the reload %q is sent, want %q", got, want)
	}
}

// What was told to listen is told on each connection, once telemetry is subscribed to;
// a command that waits for the connection is sent with its last word.
func TestCommandsAndListening(t *testing.T) {
	server, address := broker(t, lasting(t))
	listening := make(chan struct{}, 16)
	l := testLink(address, Handlers{Listening: func() { listening <- struct{}{} }})
	for _, payload := range []string{"150", "null"} {
		l.Command(0, "spBv1.0/farm/DCMD/plc9/valves", "valves a", []byte(payload), nil)
	}
	var commands inbox
	commands.follow(t, server, "spBv1.0/#")
	stop := run(t, l)
	defer stop()
	wait := func() {
		t.Helper()
		select {
		case <-listening:
		case <-time.After(limit):
			t.Fatal("nobody was told that telemetry is listened to")
		}
	}
	wait()
	eventually(t, "the last word of the command", func() bool { return commands.last() == "spBv1.0/farm/DCMD/plc9/valves=null" })
	commands.mu.Lock()
	if len(commands.got) != 1 {
		t.Errorf("sent %q", commands.got)
	}
	commands.mu.Unlock()
	if err := server.Close(); err != nil {
		t.Fatal(err)
	}
	server, _ = broker(t, address)
	defer server.Close()
	wait()
}

// Commands go at QoS 0, and still the end waits for them: a null that stayed behind would
// leave in force what has been taken back.
func TestTheEndWaitsForCommands(t *testing.T) {
	const zones = 500 // of one topic, on which one is in flight at a time
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	l := testLink(address, Handlers{})
	var commands inbox
	commands.follow(t, server, "spBv1.0/#")
	stop := run(t, l)
	defer stop()
	eventually(t, "a connection", l.Connected)
	for zone := range zones {
		l.Command(0, "spBv1.0/farm/DCMD/plc9/valves", fmt.Sprint("valves ", zone), fmt.Append(nil, "null ", zone), nil)
	}
	ctx, cancel := context.WithTimeout(t.Context(), limit)
	defer cancel()
	l.Drain(ctx)
	stop()
	eventually(t, "the last of the commands", func() bool { return commands.count() == zones })
}

// Whoever wants to know is told of a command that has been sent, once, also where it
// failed before or waited for a reload.
func TestACommandThatHasGone(t *testing.T) {
	before, now := newOutbox(), newOutbox()
	gone := 0
	before.put(message{topic: "dcmd", latest: "dcmd a", gone: func() { gone++ }})
	before.sends(errors.New("the connection ended"))
	now.follow(before)
	if gone != 0 {
		t.Errorf("gone %d times before it was sent", gone)
	}
	now.sends(nil)
	now.sends(nil)
	if gone != 1 {
		t.Errorf("gone %d times", gone)
	}
}
