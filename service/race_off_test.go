//go:build !race

package service

import "testing"

// notUnderRace does nothing without the race detector.
func notUnderRace(*testing.T) {}

// underRace tells whether the race detector watches.
const underRace = false
