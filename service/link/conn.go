package link

import (
	"fmt"
	"net"
	"time"
)

const (
	// writeTimeout ends a connection whose peer takes nothing: the client
	// library sets no deadline on pings, acknowledgements and subscriptions,
	// and would not notice a stalled peer.
	writeTimeout = 5 * time.Second
	// maxPacket is the largest packet read: the library would read up to
	// 256 MB whole. Telemetry and decisions are a thousandth of it.
	maxPacket = 1 << 20
)

// guarded is a connection with a deadline on each write and a limit on the
// size of each packet that comes in.
type guarded struct {
	net.Conn
	header  int  // bytes of the remaining-length field read so far, plus one for the type
	length  int  // of the current packet, as far as it is known
	shift   uint // of the next byte of the length
	payload int  // bytes of the current packet still to come
}

// Write writes with a deadline.
func (c *guarded) Write(p []byte) (int, error) {
	if err := c.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
		return 0, err
	}
	return c.Conn.Write(p)
}

// Read reads and follows the packets' fixed headers (MQTT 3.1.1, section 2.2).
func (c *guarded) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	if sizeErr := c.follow(p[:n]); sizeErr != nil {
		return 0, sizeErr
	}
	return n, err
}

func (c *guarded) follow(p []byte) error {
	for len(p) > 0 {
		if c.payload > 0 {
			skip := min(c.payload, len(p))
			c.payload -= skip
			p = p[skip:]
			continue
		}
		b := p[0]
		p = p[1:]
		if c.header == 0 { // the packet's type
			c.header, c.length, c.shift = 1, 0, 0
			continue
		}
		c.length |= int(b&0x7f) << c.shift
		c.shift += 7
		c.header++
		if c.length > maxPacket {
			return fmt.Errorf("the broker sent a packet of %d bytes; at most %d are read; limit the broker's packet size", c.length, maxPacket)
		}
		if b&0x80 == 0 {
			c.payload, c.header = c.length, 0
		} else if c.header > 4 {
			return fmt.Errorf("the broker sent a packet with a malformed length; expected MQTT 3.1.1; check that the address is a broker's")
		}
	}
	return nil
}
