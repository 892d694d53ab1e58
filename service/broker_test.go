package service

import "testing"

// broker is a broker of a test: the embedded one, and Mosquitto under the race detector.
type broker struct {
	Address string // host and port
	publish func(topic string, payload []byte, retain bool) error
	follow  func(filter string, handle func(topic string, payload []byte)) error
	close   func() error
}

// Publish publishes a message at QoS 1.
func (b *broker) Publish(topic string, payload []byte, retain bool) error {
	return b.publish(topic, payload, retain)
}

// Subscribe calls handle for each message on a filter, retained ones first.
func (b *broker) Subscribe(filter string, handle func(topic string, payload []byte)) error {
	return b.follow(filter, handle)
}

// Close stops the broker, which forgets all.
func (b *broker) Close() error { return b.close() }

// newBroker is a broker that lives as long as the test.
func newBroker(t *testing.T) *broker {
	t.Helper()
	b := brokerAt(t, "127.0.0.1:0")
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}
