package policy

import (
	"testing"
	"time"
)

// People who are given too little time to decide on a change of the running day are
// given more the next time, and as much as they take from then on.
func TestTimeToDecide(t *testing.T) {
	type ask struct {
		takes   time.Duration
		expired bool
		want    time.Duration // that is given after it
	}
	for name, asks := range map[string][]ask{
		"nobody yet":    {},
		"quick":         {{5 * time.Minute, false, 20 * time.Minute}, {3 * time.Minute, false, 20 * time.Minute}},
		"slow":          {{20 * time.Minute, true, 50 * time.Minute}, {40 * time.Minute, false, 50 * time.Minute}},
		"never":         {{20 * time.Minute, true, 50 * time.Minute}, {50 * time.Minute, true, 2 * time.Hour}, {2 * time.Hour, true, 2 * time.Hour}},
		"late, then in": {{time.Hour, false, 75 * time.Minute}, {6 * time.Minute, false, 52 * time.Minute}, {6 * time.Minute, false, 37 * time.Minute}},
	} {
		var d deciding
		if got := d.time(); got != leastDecideTime {
			t.Errorf("%s: %v before anybody was asked, expected %v", name, got, leastDecideTime)
		}
		for i, a := range asks {
			d.took(a.takes, a.expired)
			if got := d.time(); got != a.want.Truncate(time.Minute) {
				t.Errorf("%s, ask %d: %v given, expected %v", name, i+1, got, a.want)
			}
		}
	}
}

// Where advice after advice expires, people are asked once a day, until one decides.
func TestNobodyDecides(t *testing.T) {
	var d deciding
	for i := range 2 * unheardMost {
		if d.nobody() != (i >= unheardMost) {
			t.Fatalf("after %d that expired: nobody %v", i, d.nobody())
		}
		d.heard(StateExpired)
	}
	d.heard(StateSuperseded)
	if !d.nobody() {
		t.Error("one that was replaced counts as decided on")
	}
	for _, state := range []ApprovalState{StateApproved, StateRejected} {
		d.Unheard = unheardMost
		if d.heard(state); d.nobody() {
			t.Errorf("nobody decides, though one was %s", state)
		}
	}
}
