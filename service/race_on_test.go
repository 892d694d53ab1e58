//go:build race

package service

import "testing"

// notUnderRace skips a test that needs the embedded broker with several clients:
// the broker itself races there (it writes a topic's retained path while a
// subscriber's scan reads it), which the detector would lay at our door. The same
// ways run under the detector with a real Mosquitto.
func notUnderRace(t *testing.T) {
	t.Helper()
	t.Skip("the embedded broker races with itself; under the race detector the way is tested with a real Mosquitto")
}

// underRace tells whether the race detector watches.
const underRace = true
