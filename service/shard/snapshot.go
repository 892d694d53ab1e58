package shard

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// snapshot is what a zone's order and clock keep across a restart: without it
// a double from before would count again.
type snapshot struct {
	Probes          []string // ids, in the order of the sources below; none in one of before they were kept
	Now, Last       int64    // ms, 0: none
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
		Probes: z.probes,
		Now:    milli(c.now), Last: milli(c.last), Wake: milli(z.wake), Confirmed: c.confirmed, First: c.first,
		Older: c.older, Agreeing: c.agreeing,
		SuspectSource: c.suspect.source, SuspectAt: milli(c.suspect.at), SuspectCount: c.suspect.count,
		Forced: z.order.forced,
	}
	rows := make([][sensing.SignalCount]int64, len(c.strikes))
	for _, s := range c.seen {
		rows[s.slot][s.signal] = s.ms
	}
	for i := range rows {
		out.Seen = append(out.Seen, rows[i][:])
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

// Restore takes back what Snapshot gave. Probes are found by id: what waited of one
// that is gone is forgotten, and one that is new has no past.
func (s *Shard) Restore(index int, data []byte) error {
	var in snapshot
	if err := json.Unmarshal(data, &in); err != nil {
		return fmt.Errorf("clock of a zone: %w; the ledger holds something else there", err)
	}
	z := s.zones[index]
	c := &z.clock
	places := z.places(&in)
	c.now, c.last, z.wake = instant(in.Now), instant(in.Last), instant(in.Wake)
	c.confirmed, c.older, c.agreeing = in.Confirmed, in.Older, in.Agreeing
	c.first = places.of(in.First)
	if c.suspect = (suspect{places.of(in.SuspectSource), instant(in.SuspectAt), in.SuspectCount}); c.suspect.source == gone {
		c.suspect = suspect{}
	}
	if len(in.Strikes) != len(in.Seen) {
		return nil
	}
	c.seen = nil
	for i := range in.Seen {
		if source := places.of(sourceAt(i)); source != gone {
			for k, ms := range in.Seen[i][:min(len(in.Seen[i]), sensing.SignalCount)] {
				if ms != 0 {
					c.seen.take(slot(source), sensing.Signal(k), ms)
				}
			}
			c.strikes[slot(source)] = uint8(in.Strikes[i])
		}
	}
	z.order.clear()
	for _, w := range in.Waiting {
		t := Telemetry{Source: places.of(w.Source), At: instant(w.At), Arrived: instant(w.Arrived)}
		if t.Source == gone {
			continue
		}
		for k := range min(len(w.Signals), len(w.Values)) {
			if w.Signals[k] >= 0 && w.Signals[k] < sensing.SignalCount {
				t.Values.Set(sensing.Signal(w.Signals[k]), w.Values[k])
			}
		}
		z.order.waiting = append(z.order.waiting, t)
	}
	z.order.forced = min(in.Forced, len(z.order.waiting))
	return nil
}

// gone is the place of a source that a zone no longer has.
const gone = math.MinInt

// places say where the probes of a snapshot are now, by their index then.
type places []int

// places finds the probes of a snapshot. One without their ids is of as many probes
// as the zone has now, or its sources are not known.
func (z *zone) places(in *snapshot) places {
	out := make(places, max(len(in.Probes), len(in.Seen)-2))
	for i := range out {
		switch {
		case in.Probes != nil && z.probes != nil && i < len(in.Probes):
			if out[i] = slices.Index(z.probes, in.Probes[i]); out[i] < 0 {
				out[i] = gone
			}
		case len(in.Seen) != len(z.clock.strikes):
			out[i] = gone
		default:
			out[i] = i
		}
	}
	return out
}

// of gives where a source is now.
func (p places) of(source int) int {
	switch {
	case source == policy.ZoneWide || source == policy.Climate:
		return source
	case source >= 0 && source < len(p):
		return p[source]
	}
	return gone
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
