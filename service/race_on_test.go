//go:build race

package service

import (
	"fmt"
	"net"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// brokerAt starts Mosquitto: the embedded broker races with itself where it has several
// clients (it writes a topic's retained path while a subscriber's scan reads it), which
// the detector would lay at our door.
func brokerAt(t *testing.T, address string) *broker {
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
		if !token.WaitTimeout(20 * time.Second) {
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

// notUnderRace skips a test of the demo, which has the embedded broker in it.
func notUnderRace(t *testing.T) {
	t.Helper()
	t.Skip("the embedded broker races with itself; under the race detector the way is tested with a real Mosquitto")
}

// underRace tells whether the race detector watches.
const underRace = true

// slower is how many times as long as without the race detector all takes.
const slower = 6
