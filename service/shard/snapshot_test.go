package shard

import (
	"math"
	"testing"

	"github.com/go-json-experiment/json"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// written is a snapshot as it comes back from a ledger.
func written(t interface {
	Helper()
	Fatal(...any)
}, s Snapshot) *Snapshot {
	t.Helper()
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	out := new(Snapshot)
	if err := json.Unmarshal(text, out); err != nil {
		t.Fatal(err)
	}
	return out
}

// What a damaged ledger says of sources and signals that are not is left.
func TestASnapshotOfSourcesThatAreNot(t *testing.T) {
	f := newFixture(FromTelemetry)
	f.Restore(0, &Snapshot{
		Now: noon.UnixMilli(), Last: noon.UnixMilli(), First: 77, SuspectSource: -77, SuspectCount: 3,
		Seen: [][3]int64{
			{-1, 0, 5}, {-3, 0, 5}, {1 << 40, 0, 5}, {math.MinInt64, math.MaxInt64, 5}, {2, -1, 5}, {2, int64(sensing.SignalCount), 5},
			{3, int64(sensing.WaterContent), 7}, {0, int64(sensing.WaterContent), 6},
		},
		Strikes: make([]int, len(f.zones[0].clock.strikes)),
		Waiting: []waiting{{Source: 99, At: 5}},
		Forced:  9,
	})
	c, order := &f.zones[0].clock, &f.zones[0].order
	if len(c.seen) != 2 || c.seen.newest(slot(1), sensing.WaterContent) != 7 || c.seen.newest(slot(policy.ZoneWide), sensing.WaterContent) != 6 {
		t.Errorf("seen is %v; expected the two that can be", c.seen)
	}
	if c.first != gone || c.suspect != (suspect{}) || len(order.waiting) != 0 || order.forced != 0 {
		t.Errorf("first %d, suspect %v, %d wait, %d forced; expected none", c.first, c.suspect, len(order.waiting), order.forced)
	}
}
