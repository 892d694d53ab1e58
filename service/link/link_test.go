package link

import (
	"context"
	"io"
	"log/slog"
	"net"
	"sync"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// broker is a real broker in process.
func broker(t *testing.T, address string) (*mochi.Server, string) {
	t.Helper()
	server := mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err := server.AddHook(new(auth.AllowHook), nil); err != nil {
		t.Fatal(err)
	}
	l := listeners.NewTCP(listeners.Config{ID: "tcp", Address: address})
	if err := server.AddListener(l); err != nil {
		t.Fatal(err)
	}
	if err := server.Serve(); err != nil {
		t.Fatal(err)
	}
	return server, l.Address()
}

// inbox notes what a subscriber of the broker got.
type inbox struct {
	mu  sync.Mutex
	got []string
}

func (in *inbox) add(s string) {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.got = append(in.got, s)
}

func (in *inbox) last() string {
	in.mu.Lock()
	defer in.mu.Unlock()
	if len(in.got) == 0 {
		return ""
	}
	return in.got[len(in.got)-1]
}

func (in *inbox) follow(t *testing.T, server *mochi.Server, filter string) {
	t.Helper()
	err := server.Subscribe(filter, 1, func(_ *mochi.Client, _ packets.Subscription, p packets.Packet) {
		in.add(p.TopicName + "=" + string(p.Payload))
	})
	if err != nil {
		t.Fatal(err)
	}
}

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for range 400 {
		if ok() {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	t.Fatalf("%s: not within 10 s", what)
}

func testLink(address string, h Handlers) *Link {
	if h.Telemetry == nil {
		h.Telemetry = func(string, []byte) {}
	}
	if h.Control == nil {
		h.Control = func(_ int, _ string, _ []byte, ack func()) { ack() }
	}
	if h.ReadBack == nil {
		h.ReadBack = func(int, string, []byte) {}
	}
	if h.Resync == nil {
		h.Resync = func(int) {}
	}
	if h.Changed == nil {
		h.Changed = func() {}
	}
	if h.Claim == nil {
		h.Claim = func(payload []byte) Claim { return Claim{Online: string(payload) == "online"} }
	}
	site := Site{
		ID: "north", Control: []string{"r/north/+/decision"}, ReadBack: []string{"r/north/+/setpoint"},
		Status: "r/north/status", Online: []byte("online"), Offline: []byte("offline"), Ended: []byte("offline ended"),
	}
	return New(Settings{Broker: "tcp://" + address, ClientID: "test"}, []string{"r/north/+/telemetry/+"}, []Site{site}, h,
		slog.New(slog.NewTextHandler(io.Discard, nil)))
}

func run(t *testing.T, l *Link) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		l.Run(ctx)
	}()
	return sync.OnceFunc(func() {
		cancel()
		<-done
	})
}

func TestMessagesGoBothWays(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var outputs, telemetry, control inbox
	outputs.follow(t, server, "r/north/#")
	l := testLink(address, Handlers{
		Telemetry: func(topic string, payload []byte) { telemetry.add(topic + "=" + string(payload)) },
		Control: func(_ int, topic string, payload []byte, ack func()) {
			control.add(topic + "=" + string(payload))
			ack()
		},
	})
	stop := run(t, l)
	defer stop()
	eventually(t, "online", func() bool { return outputs.last() == "r/north/status=online" && l.Connected() })
	if err := server.Publish("r/north/a/telemetry/p1", []byte("1"), false, 1); err != nil {
		t.Fatal(err)
	}
	if err := server.Publish("r/north/a/decision", []byte("yes"), false, 1); err != nil {
		t.Fatal(err)
	}
	eventually(t, "telemetry", func() bool { return telemetry.last() == "r/north/a/telemetry/p1=1" })
	eventually(t, "decision", func() bool { return control.last() == "r/north/a/decision=yes" })
	l.Publish(0, "r/north/a/setpoint", []byte("120"), 1, true)
	eventually(t, "setpoint", func() bool { return outputs.last() == "r/north/a/setpoint=120" })
	stop()
	eventually(t, "offline", func() bool { return outputs.last() == "r/north/status=offline ended" })
}

// After an outage only the newest payload of a topic stands on the broker, and
// the site's outputs are asked for again.
func TestTheNewestStandsAfterAnOutage(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	var mu sync.Mutex
	resyncs := 0
	l := testLink(address, Handlers{Resync: func(int) { mu.Lock(); resyncs++; mu.Unlock() }})
	stop := run(t, l)
	defer stop()
	eventually(t, "connected", l.Connected)
	if err := server.Close(); err != nil {
		t.Fatal(err)
	}
	eventually(t, "disconnected", func() bool { return !l.Connected() })
	for _, v := range []string{"1", "2", "3"} {
		l.Publish(0, "r/north/a/setpoint", []byte(v), 1, true)
	}
	var outputs inbox
	server, _ = broker(t, address)
	defer server.Close()
	outputs.follow(t, server, "r/north/a/setpoint")
	eventually(t, "the newest", func() bool { return outputs.last() == "r/north/a/setpoint=3" })
	outputs.mu.Lock()
	defer outputs.mu.Unlock()
	if len(outputs.got) != 1 {
		t.Errorf("published %q; want the newest alone", outputs.got)
	}
	mu.Lock()
	defer mu.Unlock()
	if resyncs != 2 {
		t.Errorf("%d resyncs, want 2", resyncs)
	}
}

func TestRetainedOutputsAreReadBack(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	if err := server.Publish("r/north/a/setpoint", []byte("stale"), true, 1); err != nil {
		t.Fatal(err)
	}
	var back inbox
	l := testLink(address, Handlers{ReadBack: func(_ int, topic string, payload []byte) { back.add(topic + "=" + string(payload)) }})
	stop := run(t, l)
	defer stop()
	eventually(t, "read back", func() bool { return back.last() == "r/north/a/setpoint=stale" })
}

func TestASecondDaemonIsSeen(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	l := testLink(address, Handlers{})
	if err := l.Precede(t.Context(), false); err != nil {
		t.Fatalf("nobody there: %v", err)
	}
	if err := server.Publish("r/north/status", []byte("online"), true, 1); err != nil {
		t.Fatal(err)
	}
	short, cancel := context.WithTimeout(t.Context(), 3*time.Second)
	defer cancel()
	if err := l.Precede(short, true); err == nil {
		t.Fatal("a standby did not wait")
	}
	go func() {
		time.Sleep(1500 * time.Millisecond)
		if err := server.Publish("r/north/status", []byte("offline"), true, 1); err != nil {
			t.Error(err)
		}
	}()
	if err := l.Precede(t.Context(), true); err != nil {
		t.Fatalf("the other has ended: %v", err)
	}
}

func TestOversizedPacketsEndTheConnection(t *testing.T) {
	client, peer := net.Pipe()
	defer client.Close()
	go func() {
		defer peer.Close()
		if _, err := peer.Write([]byte{0x30, 0x03, 1, 2, 3, 0x30, 0xff, 0xff, 0xff, 0x7f}); err != nil {
			return // the reader has given up, which is the point
		}
	}()
	g := &guarded{Conn: client}
	buf := make([]byte, 4)
	for range 5 {
		if _, err := g.Read(buf); err != nil {
			if err == io.EOF {
				t.Fatal("a packet of 256 MB was let through")
			}
			return
		}
	}
	t.Fatal("no error")
}

func TestFilters(t *testing.T) {
	tests := []struct {
		filter, topic string
		want          bool
	}{
		{"r/n/+/decision", "r/n/a/decision", true}, {"r/n/+/decision", "r/n/a/decision/result", false},
		{"r/n/+/decision", "r/n//decision", true}, {"r/n/+/setpoint/#", "r/n/a/setpoint/x", true},
		{"r/n/+/decision", "r/n/a/event", false}, {"a/b", "a/b", true}, {"a/b", "a/bc", false}, {"a/bc", "a/b", false},
	}
	for _, test := range tests {
		if got := matches(test.filter, test.topic); got != test.want {
			t.Errorf("matches(%q, %q) = %v", test.filter, test.topic, got)
		}
	}
}
