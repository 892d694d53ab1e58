package service

import (
	"fmt"
	"net"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

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

// realBroker is a Mosquitto that lives as long as the test.
func realBroker(t *testing.T) *broker {
	t.Helper()
	b := mosquittoAt(t, "127.0.0.1:0")
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

// mosquittoAt starts Mosquitto, with nobody's rights looked at.
func mosquittoAt(t *testing.T, address string) *broker {
	t.Helper()
	program := tool(t, "mosquitto")
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	if port == "0" {
		address = fmt.Sprintf("127.0.0.1:%d", freePort(t))
		_, port, _ = net.SplitHostPort(address)
	}
	m := &mosquitto{program: program, folder: t.TempDir(), log: new(locked)}
	if _, err := fmt.Sscan(port, &m.port); err != nil {
		t.Fatal(err)
	}
	m.write(t, "mosquitto.conf", fmt.Sprintf("listener %s 127.0.0.1\nallow_anonymous true\nmax_inflight_messages 1000\nmax_queued_messages 100000\n", port))
	m.start(t)
	done := func(token mqtt.Token) error {
		if !token.WaitTimeout(time.Minute) {
			return fmt.Errorf("no answer from mosquitto")
		}
		return token.Error()
	}
	var clients []mqtt.Client
	// each subscriber is a client of its own: one client keeps one handler a filter
	connect := func() (mqtt.Client, error) {
		id := fmt.Sprintf("test-%d", len(clients))
		client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID(id).SetAutoReconnect(false))
		clients = append(clients, client)
		return client, done(client.Connect())
	}
	client, err := connect()
	if err != nil {
		t.Fatalf("%v\n%s", err, m.log.String())
	}
	return &broker{
		Address: address,
		publish: func(topic string, payload []byte, retain bool) error {
			return done(client.Publish(topic, 1, retain, payload))
		},
		follow: func(filter string, handle func(string, []byte)) error {
			client, err := connect()
			if err != nil {
				return err
			}
			return done(client.Subscribe(filter, 1, func(_ mqtt.Client, m mqtt.Message) { handle(m.Topic(), m.Payload()) }))
		},
		close: func() error {
			for _, client := range clients {
				client.Disconnect(100)
			}
			m.stop()
			return nil
		},
	}
}
