package service

import (
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/report"
	"rhizostat/service/wire"
)

// A move that ends an advice says which one: the one that has just been decided on
// stands.
func TestMarkOf(t *testing.T) {
	loc := time.FixedZone("", 2*3600)
	const id = "01KRFWP8R0V3T0W8M2K4R7N9XC" // 13 May 2026 05:24 UTC
	for _, c := range []struct {
		to   policy.ApprovalState
		by   string
		want string
	}{
		{policy.StatePending, "", ""},
		{policy.StateApproved, "kit", "by kit"},
		{policy.StateSuperseded, "", "that of 13 May 07:24"},
		{policy.StateWithdrawn, "kit", "that of 13 May 07:24 by kit"},
	} {
		if got := markOf(&wire.Move{Advice: id, To: c.to, By: c.by}, loc); got.Text != c.want {
			t.Errorf("%s: %q, want %q", c.to, got.Text, c.want)
		}
	}
	if got := markOf(&wire.Move{Advice: "a1", To: policy.StateExpired}, loc); got.Kind != report.Expired || got.Text != "" {
		t.Errorf("an id that tells no time: %+v", got)
	}
}

// Days are those of the site.
func TestMidnight(t *testing.T) {
	loc := time.FixedZone("", 2*3600)
	if got := midnight(time.Date(2026, 5, 13, 0, 0, 0, 0, time.UTC), loc); !got.Equal(time.Date(2026, 5, 12, 22, 0, 0, 0, time.UTC)) {
		t.Error(got)
	}
	if !midnight(time.Time{}, loc).IsZero() {
		t.Error("zero")
	}
}
