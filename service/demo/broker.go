package demo

import (
	"fmt"
	"io"
	"log/slog"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// Broker is an MQTT broker in process, for the demo and for tests. It lets
// everybody in, so it listens on this machine alone, and is never meant for a
// facility.
type Broker struct {
	server  *mochi.Server
	Address string // host and port
	next    int    // subscription id
}

// NewBroker starts a broker on an address like 127.0.0.1:1883; port 0 takes any.
func NewBroker(address string) (*Broker, error) {
	capabilities := mochi.NewDefaultServerCapabilities()
	capabilities.MaximumClientWritesPending = 64 << 10
	server := mochi.New(&mochi.Options{
		InlineClient: true, Capabilities: capabilities, Logger: slog.New(slog.NewTextHandler(io.Discard, nil)),
	})
	if err := server.AddHook(new(auth.AllowHook), nil); err != nil {
		return nil, fmt.Errorf("demo broker: %w", err)
	}
	listener := listeners.NewTCP(listeners.Config{ID: "demo", Address: address})
	if err := server.AddListener(listener); err != nil {
		return nil, fmt.Errorf("demo broker: %w; is another one there already? --broker takes another address", err)
	}
	if err := server.Serve(); err != nil {
		return nil, fmt.Errorf("demo broker: %w", err)
	}
	return &Broker{server: server, Address: listener.Address()}, nil
}

// Close stops the broker.
func (b *Broker) Close() error { return b.server.Close() }

// Publish publishes as the broker itself.
func (b *Broker) Publish(topic string, payload []byte, retain bool) error {
	return b.server.Publish(topic, payload, retain, 1)
}

// Subscribe calls handle for each message on a filter, retained ones first.
func (b *Broker) Subscribe(filter string, handle func(topic string, payload []byte)) error {
	b.next++
	return b.server.Subscribe(filter, b.next, func(_ *mochi.Client, _ packets.Subscription, p packets.Packet) {
		handle(p.TopicName, p.Payload)
	})
}
