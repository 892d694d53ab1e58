package policy

import "testing"

// Of the seasons' controllers, the engine tells those that run the schedule from
// those that wait for the trigger by their shots alone.
func TestLearnsWayOfFollowing(t *testing.T) {
	if testing.Short() {
		t.Skip("plays a season")
	}
	right, told := 0, 0
	for seed := range uint64(4) {
		y, err := stage(drawSeason(tuningSeeds+seed, 3, 10))
		if err != nil {
			t.Fatal(err)
		}
		for range 10 * 24 * 60 {
			y.minute(nil)
		}
		for _, p := range y.players {
			x := p.engine.byClock()
			t.Logf("seed %d zone %d: by clock %v, believed %.2f", seed, p.index, p.controller.ByClock, x)
			if x > 0.4 && x < 0.6 {
				continue // too few shots to tell
			}
			told++
			if x > 0.5 == p.controller.ByClock {
				right++
			}
		}
	}
	if told < 6 || right < told-1 {
		t.Errorf("the way of following was told of %d zones of 12, right of %d; expected 6 or more and at most one wrong", told, right)
	}
}
