//go:build race

package service

import "testing"

// brokerAt starts Mosquitto: the embedded broker races with itself where it has several
// clients (it writes a topic's retained path while a subscriber's scan reads it), which
// the detector would lay at our door.
func brokerAt(t *testing.T, address string) *broker {
	t.Helper()
	return mosquittoAt(t, address)
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

// patience is how many times as long as on a machine that has nothing else to do, and
// without the race detector, something is waited for.
const patience = 12
