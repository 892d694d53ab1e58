package shard

import (
	"math"
	"slices"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// Snapshot is what a zone's order and clock keep across a restart: without it
// a double from before would count again. It is for whoever writes it down.
type Snapshot struct {
	Probes          []string // ids, in the order of the sources below
	Now, Last       int64    // ms, 0: none
	Wake            int64
	Confirmed       bool
	First           int
	Older, Agreeing int
	SuspectSource   int
	SuspectAt       int64
	SuspectCount    int
	Seen            [][3]int64 // slot of a source, signal and its newest stepped stamp, ms
	Strikes         []int      // by slot
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
func (s *Shard) Snapshot(index int) Snapshot {
	z := s.zones[index]
	c := &z.clock
	out := Snapshot{
		Probes: z.probes,
		Now:    milli(c.now), Last: milli(c.last), Wake: milli(z.wake), Confirmed: c.confirmed, First: c.first,
		Older: c.older, Agreeing: c.agreeing,
		SuspectSource: c.suspect.source, SuspectAt: milli(c.suspect.at), SuspectCount: c.suspect.count,
		Forced: z.order.forced,
	}
	for _, s := range c.seen {
		out.Seen = append(out.Seen, [3]int64{int64(s.slot), int64(s.signal), s.ms})
	}
	for _, n := range c.strikes {
		out.Strikes = append(out.Strikes, int(n))
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
	return out
}

// Restore takes back what Snapshot gave. Probes are found by id: what waited of one
// that is gone is forgotten, and one that is new has no past.
func (s *Shard) Restore(index int, in *Snapshot) {
	z := s.zones[index]
	c := &z.clock
	places := z.places(in)
	c.now, c.last, z.wake = instant(in.Now), instant(in.Last), instant(in.Wake)
	c.confirmed, c.older, c.agreeing = in.Confirmed, in.Older, in.Agreeing
	c.first = places.of(in.First)
	if c.suspect = (suspect{places.of(in.SuspectSource), instant(in.SuspectAt), in.SuspectCount}); c.suspect.source == gone {
		c.suspect = suspect{}
	}
	c.seen = make(seen, 0, len(in.Seen))
	for _, row := range in.Seen {
		source, signal := places.of(sourceAt(int(row[0]))), int(row[1])
		if source != gone && signal >= 0 && signal < sensing.SignalCount {
			c.seen.take(slot(source), sensing.Signal(signal), row[2])
		}
	}
	for i, n := range in.Strikes {
		if source := places.of(sourceAt(i)); source != gone {
			c.strikes[slot(source)] = uint8(n)
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
}

// gone is the place of a source that a zone no longer has.
const gone = math.MinInt

// places say where the probes of a snapshot are now, by their index then.
type places []int

// places finds the probes of a snapshot. One without their ids is of as many probes
// as the zone has now, or its sources are not known.
func (z *zone) places(in *Snapshot) places {
	out := make(places, max(len(in.Probes), len(in.Strikes)-2))
	for i := range out {
		switch {
		case in.Probes != nil && z.probes != nil && i < len(in.Probes):
			if out[i] = slices.Index(z.probes, in.Probes[i]); out[i] < 0 {
				out[i] = gone
			}
		case len(in.Strikes) != len(z.clock.strikes):
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
