package site

import (
	"testing"

	"pgregory.net/rapid"
)

func TestDistance(t *testing.T) {
	// kitten and sitting: Wagner & Fischer 1974, the customary example; ca and
	// abc: 3 by optimal string alignment, which never edits a swap again.
	tests := []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"abc", "abc", 0}, {"", "abc", 3}, {"kitten", "sitting", 3}, {"ca", "abc", 3},
		{"contianer", "container", 1}, {"probe", "probes", 1}, {"teh", "the", 1},
	}
	for _, tt := range tests {
		if got := distance(tt.a, tt.b); got != tt.want {
			t.Errorf("distance(%q, %q) = %d, want %d", tt.a, tt.b, got, tt.want)
		}
	}
}

func TestNearest(t *testing.T) {
	keys := document.key("zones").names()
	tests := []struct{ word, want string }{
		{"contianer", "container"}, {"Substrate", "substrate"}, {"container-count", "container_count"}, {"limit", "limits"},
		{"emiters", "emitters"}, {"colour", ""}, {"x", ""}, {"", ""}, {"bnad", "band"},
	}
	for _, tt := range tests {
		if got := nearest(tt.word, keys); got != tt.want {
			t.Errorf("nearest(%q) = %q, want %q", tt.word, got, tt.want)
		}
	}
}

// TestDistanceIsSymmetric, and is zero for equal words alone.
func TestDistanceIsSymmetric(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-c]{0,8}`)
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		if distance(a, b) != distance(b, a) || (distance(a, b) == 0) != (a == b) || distance(a, b) > max(len(a), len(b)) {
			t.Fatalf("distance %d and %d", distance(a, b), distance(b, a))
		}
	})
}
