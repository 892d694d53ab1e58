package link

import (
	"bufio"
	"fmt"
	"net"
	"sync"
	"time"
)

const (
	// writeTimeout ends a connection whose peer takes nothing: the client
	// library sets no deadline on pings, acknowledgements and subscriptions,
	// and would not notice a stalled peer.
	writeTimeout = 5 * time.Second
	// maxPacket is the largest packet handed on: the library would read up to
	// 256 MB whole. Telemetry and decisions are a thousandth of it.
	maxPacket = 1 << 20
	// dropped is how much of what is too much is read at a time.
	dropped = 64 << 10

	publish = 0x30 // the type of a PUBLISH, in the upper half of its first byte
)

// alive is a PINGRESP.
var alive = []byte{0xd0, 0}

// guarded is a connection with a deadline on each write, and of which no packet
// is larger than maxPacket. A larger PUBLISH is cut to that and its rest is
// dropped as it comes: it still goes the way of every message, is refused as too
// large, counted and acknowledged. To end the connection instead would do no good,
// for a broker sends what is not acknowledged again, for ever.
type guarded struct {
	net.Conn
	reader *bufio.Reader // the library reads a packet in several small pieces
	header [5]byte       // of the current packet, as it is handed on
	ahead  []byte        // of the header, or of a packet of our own, what is not handed on yet
	body   int           // bytes of the current packet still to be handed on
	rest   int           // bytes of it to be dropped after that

	begun  bool        // the first packet has come, which is the answer to CONNECT
	hold   func() bool // nothing more is to be handed on now; nil: always go on
	closed chan struct{}
	close  func() error
}

func newGuarded(conn net.Conn, hold func() bool) *guarded {
	c := &guarded{Conn: conn, reader: bufio.NewReaderSize(conn, readBuffer), hold: hold, closed: make(chan struct{})}
	c.close = sync.OnceValue(func() error {
		close(c.closed)
		return conn.Close()
	})
	return c
}

// Close closes the connection, also while it is held.
func (c *guarded) Close() error { return c.close() }

// held waits while nothing more is to be handed on, for a second at most, and
// reports whether that is still so. What is not read stays with the broker. The first
// packet is never held: nothing may come before CONNACK (MQTT 3.1.1, 3.2.0-1), and
// no sign of life either.
func (c *guarded) held() (bool, error) {
	const look, limit = 5 * time.Millisecond, time.Second
	if !c.begun || c.hold == nil || !c.hold() {
		return false, nil
	}
	tick := time.NewTicker(look)
	defer tick.Stop()
	for range limit / look {
		select {
		case <-c.closed:
			return false, net.ErrClosed
		case <-tick.C:
		}
		if !c.hold() {
			return false, nil
		}
	}
	return true, nil
}

// Write writes with a deadline.
func (c *guarded) Write(p []byte) (int, error) {
	if err := c.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
		return 0, err
	}
	return c.Conn.Write(p)
}

// Read reads packet by packet.
func (c *guarded) Read(p []byte) (int, error) {
	for len(c.ahead) == 0 && c.body == 0 {
		if err := c.next(); err != nil {
			return 0, err
		}
	}
	if len(c.ahead) > 0 {
		n := copy(p, c.ahead)
		c.ahead = c.ahead[n:]
		return n, nil
	}
	n, err := c.reader.Read(p[:min(len(p), c.body)])
	c.body -= n
	return n, err
}

// next goes on to what comes after the packet that has been handed on.
func (c *guarded) next() error {
	if c.rest > 0 {
		n, err := c.reader.Discard(min(c.rest, dropped))
		c.rest -= n
		// the answer to a ping waits behind the rest: on a slow line the library
		// would take the broker for dead, and never get past this packet
		c.ahead = alive
		return err
	}
	if held, err := c.held(); held || err != nil {
		c.ahead = alive // as above: the answer to a ping waits behind what is held
		return err
	}
	kind, err := c.reader.ReadByte()
	if err != nil {
		return err
	}
	c.begun = true
	length, err := c.length()
	if err != nil {
		return err
	}
	c.body = min(length, maxPacket)
	c.rest = length - c.body
	if c.rest > 0 && kind&0xf0 != publish {
		return fmt.Errorf("the broker sent a packet of type %d with %d bytes; expected at most %d of all but a PUBLISH; check that the address is a broker's", kind>>4, length, maxPacket)
	}
	c.ahead = appendLength(append(c.header[:0], kind), c.body)
	return nil
}

// length reads the remaining-length field of a fixed header (MQTT 3.1.1, section
// 2.2.3).
func (c *guarded) length() (int, error) {
	length := 0
	for shift := 0; shift < 28; shift += 7 {
		b, err := c.reader.ReadByte()
		if err != nil {
			return 0, err
		}
		length |= int(b&0x7f) << shift
		if b&0x80 == 0 {
			return length, nil
		}
	}
	return 0, fmt.Errorf("the broker sent a packet with a malformed length; expected MQTT 3.1.1; check that the address is a broker's")
}

func appendLength(dst []byte, length int) []byte {
	for ; length > 0x7f; length >>= 7 {
		dst = append(dst, byte(length)|0x80)
	}
	return append(dst, byte(length))
}
