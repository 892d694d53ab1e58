package shard

import (
	"encoding/json"
	"fmt"
	"time"

	"rhizostat/policy/sensing"
)

// snapshot is what a zone's order and clock keep across a restart: without it
// a double from before would count again.
type snapshot struct {
	Now, Last       int64 // ms, 0: none
	Wake            int64
	Confirmed       bool
	First           int
	Older, Agreeing int
	SuspectSource   int
	SuspectAt       int64
	SuspectCount    int
	Seen            [][]int64
	Strikes         []int
	Waiting         []waiting
	Forced          int
}

type waiting struct {
	Source      int
	At, Arrived int64
	Signals     []int
	Values      []float64
}

// Snapshot gives what the zone's clock and buffer hold, for Restore.
func (s *Shard) Snapshot(index int) ([]byte, error) {
	z := s.zones[index]
	c := &z.clock
	out := snapshot{
		Now: milli(c.now), Last: milli(c.last), Wake: milli(z.wake), Confirmed: c.confirmed, First: c.first,
		Older: c.older, Agreeing: c.agreeing,
		SuspectSource: c.suspect.source, SuspectAt: milli(c.suspect.at), SuspectCount: c.suspect.count,
		Forced: z.order.forced,
	}
	for i := range c.seen {
		out.Seen = append(out.Seen, append([]int64(nil), c.seen[i][:]...))
		out.Strikes = append(out.Strikes, int(c.strikes[i]))
	}
	for i := range z.order.waiting {
		t := &z.order.waiting[i]
		w := waiting{Source: t.Source, At: milli(t.At), Arrived: milli(t.Arrived)}
		for k := range sensing.SignalCount {
			if v, ok := t.Values.Get(sensing.Signal(k)); ok {
				w.Signals = append(w.Signals, k)
				w.Values = append(w.Values, v)
			}
		}
		out.Waiting = append(out.Waiting, w)
	}
	return json.Marshal(out)
}

// Restore takes back what Snapshot gave. A zone whose probes have changed
// since keeps its time and forgets the rest.
func (s *Shard) Restore(index int, data []byte) error {
	var in snapshot
	if err := json.Unmarshal(data, &in); err != nil {
		return fmt.Errorf("clock of a zone: %w; the ledger holds something else there", err)
	}
	z := s.zones[index]
	c := &z.clock
	c.now, c.last, z.wake = instant(in.Now), instant(in.Last), instant(in.Wake)
	c.confirmed, c.first, c.older, c.agreeing = in.Confirmed, in.First, in.Older, in.Agreeing
	c.suspect = suspect{in.SuspectSource, instant(in.SuspectAt), in.SuspectCount}
	if len(in.Seen) != len(c.seen) || len(in.Strikes) != len(c.seen) {
		return nil
	}
	for i := range in.Seen {
		copy(c.seen[i][:], in.Seen[i])
		c.strikes[i] = uint8(in.Strikes[i])
	}
	z.order.clear()
	z.order.forced = in.Forced
	for _, w := range in.Waiting {
		t := Telemetry{Source: w.Source, At: instant(w.At), Arrived: instant(w.Arrived)}
		for k := range min(len(w.Signals), len(w.Values)) {
			if w.Signals[k] >= 0 && w.Signals[k] < sensing.SignalCount {
				t.Values.Set(sensing.Signal(w.Signals[k]), w.Values[k])
			}
		}
		z.order.waiting = append(z.order.waiting, t)
	}
	return nil
}

func milli(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMilli()
}

func instant(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}
