package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/iotest"
	"testing/synctest"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"rhizostat/service/internal/leaks"
)

func TestMain(m *testing.M) { leaks.Main(m) }

// limit is how long a test waits for what comes at once where the machine has nothing
// else to do.
const limit = 3 * time.Minute

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

// has tells whether something came, be it that more has come since.
func (in *inbox) has(s string) bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	return slices.Contains(in.got, s)
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
	for end := time.Now().Add(limit); !ok(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s: not within %s", what, limit)
		}
	}
}

// lasting is an address that a broker may leave and come back to: it lies below the ports
// that the system hands out by itself, to whoever connects meanwhile too.
func lasting(t *testing.T) string {
	t.Helper()
	for range 1000 {
		address := fmt.Sprintf("127.0.0.1:%d", 10000+rand.IntN(10000))
		if l, err := net.Listen("tcp", address); err == nil {
			l.Close()
			return address
		}
	}
	t.Fatal("no port is free")
	return ""
}

func testLink(address string, h Handlers) *Link {
	if h.Telemetry == nil {
		h.Telemetry = func(string, []byte, bool) {}
	}
	if h.Control == nil {
		h.Control = func(_ int, _ string, _ []byte, ack func()) { ack() }
	}
	if h.Ignored == nil {
		h.Ignored = func(string) {}
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
		Telemetry: func(topic string, payload []byte, _ bool) { telemetry.add(topic + "=" + string(payload)) },
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
	eventually(t, "setpoint", func() bool { return outputs.has("r/north/a/setpoint=120") })
	stop()
	eventually(t, "offline", func() bool { return outputs.last() == "r/north/status=offline ended" })
}

// After an outage only the newest payload of a topic stands on the broker, and
// the site's outputs are asked for again.
func TestTheNewestStandsAfterAnOutage(t *testing.T) {
	server, address := broker(t, lasting(t))
	var resyncs atomic.Int64
	l := testLink(address, Handlers{Resync: func(int) { resyncs.Add(1) }})
	stop := run(t, l)
	defer stop()
	eventually(t, "connected", l.Connected)
	if err := server.Close(); err != nil {
		t.Fatal(err)
	}
	eventually(t, "disconnected", func() bool { return !l.up[1].Load() })
	before := resyncs.Load()
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
	for _, got := range outputs.got { // one that subscribes while it is published may get it twice
		if got != "r/north/a/setpoint=3" {
			t.Errorf("published %q; want the newest alone", outputs.got)
		}
	}
	if now := resyncs.Load(); now == before {
		t.Errorf("%d resyncs before the outage and none after it", before)
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

// A reading that the broker had kept is told from one of now.
func TestRetainedTelemetryIsTold(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	if err := server.Publish("r/north/a/telemetry/p1", []byte("old"), true, 1); err != nil {
		t.Fatal(err)
	}
	var in inbox
	l := testLink(address, Handlers{Telemetry: func(_ string, payload []byte, retained bool) { in.add(fmt.Sprintf("%s %v", payload, retained)) }})
	stop := run(t, l)
	defer stop()
	eventually(t, "the old one", func() bool { return in.last() == "old true" })
	if err := server.Publish("r/north/a/telemetry/p1", []byte("new"), true, 1); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the new one", func() bool { return in.last() == "new false" })
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

// packet is a packet as a broker sends it.
func packet(kind byte, body []byte) []byte {
	return append(appendLength([]byte{kind}, len(body)), body...)
}

// published is the body of a PUBLISH at QoS 1 with a payload of so many bytes.
func published(topic string, id byte, size int) []byte {
	body := append([]byte{0, byte(len(topic))}, topic...)
	body = append(body, 0, id)
	return append(body, bytes.Repeat([]byte("x"), size)...)
}

// However a packet comes in pieces, what is small passes as it is, a PUBLISH that
// is too large is cut, and nothing after it is lost.
func TestOversizedPublishesAreCut(t *testing.T) {
	large, small := published("t", 7, 3*maxPacket), published("t", 8, 200)
	ping := []byte{0xd0, 0}
	stream := slices.Concat(packet(0x32, small), ping, packet(0x33, large), packet(0x32, small))
	want := slices.Concat(packet(0x32, small), ping, packet(0x33, large[:maxPacket]))
	for name, reader := range map[string]func(io.Reader) io.Reader{
		"whole": func(r io.Reader) io.Reader { return r }, "halves": iotest.HalfReader, "bytes": iotest.OneByteReader,
	} {
		got, err := io.ReadAll(newGuarded(fed{Reader: reader(bytes.NewReader(stream))}, nil))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !bytes.HasPrefix(got, want) {
			t.Fatalf("%s: the packets up to the large one came as %d bytes that are not those sent", name, len(got))
		}
		got = got[len(want):]
		pings := 0
		for bytes.HasPrefix(got, ping) { // the rest of the large one
			got, pings = got[2:], pings+1
		}
		if pings == 0 || pings > 2*3*maxPacket/dropped && name == "whole" {
			t.Errorf("%s: while the rest came the library was told %d times that the broker lives", name, pings)
		}
		if !bytes.Equal(got, packet(0x32, small)) {
			t.Errorf("%s: after the large one came %d bytes, want the small one", name, len(got))
		}
	}
}

// fed is a connection that reads what it is given.
type fed struct {
	net.Conn
	io.Reader
}

func (f fed) Read(p []byte) (int, error) { return f.Reader.Read(p) }

// While readings are held, nothing of them is read and the library is told that the
// broker lives, but not before CONNACK; all of them come later, and an end is an end.
func TestAHeldConnectionLives(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var hold atomic.Bool
		hold.Store(true)
		near, far := net.Pipe()
		c := newGuarded(near, hold.Load)
		connack := packet(0x20, []byte{0, 0})
		small := packet(0x32, published("t", 8, 200))
		go far.Write(slices.Concat(connack, small))
		first := make([]byte, len(connack))
		if _, err := io.ReadFull(c, first); err != nil || !bytes.Equal(first, connack) {
			t.Fatalf("held from the start, first came %x (%v), want %x", first, err, connack)
		}
		began := time.Now()
		for range 30 {
			got := make([]byte, 512)
			n, err := c.Read(got)
			if err != nil || !bytes.Equal(got[:n], alive) {
				t.Fatalf("held, it read %x (%v), want %x", got[:n], err, alive)
			}
		}
		if took := time.Since(began); took < 20*time.Second || took > time.Minute {
			t.Errorf("30 signs of life in %s, want one a second", took)
		}
		hold.Store(false)
		got := make([]byte, len(small))
		if _, err := io.ReadFull(c, got); err != nil || !bytes.Equal(got, small) {
			t.Errorf("after that came %x (%v), want what was held", got, err)
		}
		hold.Store(true)
		time.AfterFunc(100*time.Millisecond, func() { c.Close() })
		if _, err := c.Read(got); !errors.Is(err, net.ErrClosed) {
			t.Errorf("closed while held: %v, want %v", err, net.ErrClosed)
		}
		far.Close()
	})
}

// What is no MQTT ends the connection with a sentence.
func TestWhatIsNoPacketEndsTheConnection(t *testing.T) {
	for name, test := range map[string]struct {
		stream []byte
		want   string
	}{
		"another type of 256 MB": {[]byte{0x90, 0xff, 0xff, 0xff, 0x7f}, "a packet of type 9 with 268435455 bytes"},
		"a length without end":   {[]byte{0x30, 0xff, 0xff, 0xff, 0xff, 0x7f}, "malformed length"},
	} {
		_, err := io.ReadAll(newGuarded(fed{Reader: bytes.NewReader(test.stream)}, nil))
		if err == nil || !strings.Contains(err.Error(), test.want) || !strings.Contains(err.Error(), "expected") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A persistent session is given again what it does not acknowledge: a message that
// is too large must not end it, on neither session.
func TestAnOversizedMessageKeepsNoSessionDown(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var telemetry, control inbox
	var changes atomic.Int64
	l := testLink(address, Handlers{
		Telemetry: func(topic string, payload []byte, _ bool) { telemetry.add(fmt.Sprintf("%s %d", topic, len(payload))) },
		Control: func(_ int, topic string, payload []byte, ack func()) {
			control.add(fmt.Sprintf("%s %d", topic, len(payload)))
			ack()
		},
		Changed: func() { changes.Add(1) },
	})
	stop := run(t, l)
	defer stop()
	eventually(t, "connected, and told of both sessions", func() bool { return l.Connected() && changes.Load() == 2 })
	ups := changes.Load()
	large := bytes.Repeat([]byte("x"), 5*maxPacket)
	for _, topic := range []string{"r/north/a/telemetry/p1", "r/north/a/decision"} {
		for _, payload := range [][]byte{large, []byte("1")} {
			if err := server.Publish(topic, payload, false, 1); err != nil {
				t.Fatal(err)
			}
		}
	}
	eventually(t, "what came after it", func() bool {
		return telemetry.last() == "r/north/a/telemetry/p1 1" && control.last() == "r/north/a/decision 1"
	})
	for _, in := range []*inbox{&telemetry, &control} {
		in.mu.Lock()
		if len(in.got) != 2 {
			t.Errorf("came %q, want each message once", in.got)
		}
		in.mu.Unlock()
	}
	if now := changes.Load(); now != ups {
		t.Errorf("the sessions changed %d times more", now-ups)
	}
	eventually(t, "every message acknowledged", func() bool {
		for _, id := range []string{"test-telemetry:north", "test-north"} {
			if c, ok := server.Clients.Get(id); !ok || c.State.Inflight.Len() > 0 {
				return false
			}
		}
		return true
	})
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
