//go:build !race

package service

import (
	"testing"

	"rhizostat/service/demo"
)

// brokerAt starts the embedded broker.
func brokerAt(t *testing.T, address string) *broker {
	t.Helper()
	b, err := demo.NewBroker(address)
	if err != nil {
		t.Fatal(err)
	}
	return &broker{Address: b.Address, publish: b.Publish, follow: b.Subscribe, close: b.Close}
}

// notUnderRace does nothing without the race detector.
func notUnderRace(*testing.T) {}

// underRace tells whether the race detector watches.
const underRace = false

// slower is how many times as long as without the race detector all takes.
const slower = 1

// patience is how many times as long as on a machine that has nothing else to do
// something is waited for.
const patience = 6
