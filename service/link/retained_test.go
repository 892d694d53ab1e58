package link

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"testing"
	"time"
)

// withoutTurn is a way to a broker that has no turn for a while once it has granted a
// subscription, as on a busy machine.
func withoutTurn(t *testing.T, broker string, pause time.Duration) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return // the test is over
			}
			far, err := net.Dial("tcp", broker)
			if err != nil {
				near.Close()
				continue
			}
			go func() {
				io.Copy(far, near) // it ends with either connection
				far.Close()
			}()
			go func() {
				stalled(near, far, pause)
				near.Close()
			}()
		}
	}()
	return l.Addr().String()
}

// stalled carries packets until one of the connections ends; after the first SUBACK it
// carries none for a while.
func stalled(to io.Writer, from io.Reader, pause time.Duration) {
	const suback = 0x90
	for r := bufio.NewReader(from); ; {
		kind, err := r.ReadByte()
		if err != nil {
			return
		}
		size, err := binary.ReadUvarint(r) // a length of MQTT is one
		if err != nil {
			return
		}
		body := make([]byte, size)
		if _, err := io.ReadFull(r, body); err != nil {
			return
		}
		if _, err := to.Write(packet(kind, body)); err != nil {
			return
		}
		if kind == suback {
			time.Sleep(pause)
			pause = 0
		}
	}
}

// What a broker has retained is there, however long it takes to send it: another daemon's
// status, and what a person asks for.
func TestABrokerThatHasNoTurn(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	if err := server.Publish("r/north/status", []byte("online"), true, 1); err != nil {
		t.Fatal(err)
	}
	address = withoutTurn(t, address, 2*settle)
	c, err := Visit(t.Context(), Settings{Broker: "tcp://" + address, ClientID: "you"}, "look")
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if got, err := c.Retained(t.Context(), "r/+/status"); err != nil || len(got) != 1 || string(got[0].Payload) != "online" {
		t.Errorf("retained is %+v (%v), want the status", got, err)
	}
	ctx, stop := context.WithTimeout(t.Context(), 5*settle)
	defer stop()
	if err := testLink(address, Handlers{}).Precede(ctx, true); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a standby did not wait: %v", err)
	}
}
