package report

import (
	"math"
	"slices"
	"sort"
	"time"
)

// Days are the days of one zone as they were recorded, for a picture
// ([Days.SVG], [Days.PNG]) and a table ([Days.Table]). Slices are in the order
// of time; volumes are mL per container. What is not known is left empty.
type Days struct {
	Site, Zone    string
	Location      *time.Location // that days and labels are told in
	From, To      time.Time
	TotalPorosity float64     // m3/m3, 0 when not known: then no air is told
	Starts        []time.Time // of the irrigation days; none: local midnights
	Water         []Water
	Probes        []Trace // sorted by id
	Band          []Edges // each holds until the next
	Saturated     []Span
	Shots         []Volume
	Drains        []Volume
	Uptake        []Volume // since the entry before
	Forecasts     []Course // as they were issued, one a day is enough
	Marks         []Mark
}

// Water is the zone's water content at one moment, mean over the container.
type Water struct {
	At        time.Time
	Mean      float64 // m3/m3
	Low, High float64 // its interval; both equal to Mean when there is none
}

// Trace is what one probe read.
type Trace struct {
	ID       string
	Readings []Reading
	Ill      []Illness // in the order of time
}

// Illness is a stretch of time in which a probe was not believed.
type Illness struct {
	Span
	Health string // as published, such as "stuck"
	open   bool   // while it is collected: the last that is known of the probe
}

// Reading is one value of a probe.
type Reading struct {
	At    time.Time
	Value float64 // m3/m3
}

// Edges are the band from a moment on.
type Edges struct {
	From                   time.Time
	FullPoint, RefillPoint float64 // m3/m3
}

// Span is a stretch of time.
type Span struct{ From, To time.Time }

func (s Span) holds(t time.Time) bool { return !t.Before(s.From) && !t.After(s.To) }

// within is how much of a span lies between two moments.
func (s Span) within(from, to time.Time) time.Duration {
	return max(0, earlier(s.To, to).Sub(later(s.From, from)))
}

// Volume is water at one moment.
type Volume struct {
	At time.Time
	ML float64
}

// Course is a forecast as it was issued, in even steps from IssuedAt.
type Course struct {
	IssuedAt               time.Time
	Step                   time.Duration
	WaterContent           []float64 // m3/m3
	Low, High              []float64 // of the same length, or empty
	Usual                  bool      // of a zone watered as on its last days; else under the standing advice
	MeanAbsoluteError      float64   // m3/m3, set by Score; NaN when nothing came
	Inside                 float64   // share of what came that lies in the interval, set by Score; NaN likewise
	compared, withInterval int
}

// MarkKind is what a mark stands for.
type MarkKind string

// The kinds of marks: the states of an approval, what is to be looked at, and what
// people did.
const (
	Issued     MarkKind = "issued"
	Approved   MarkKind = "approved"
	Rejected   MarkKind = "rejected"
	Withdrawn  MarkKind = "withdrawn"
	Expired    MarkKind = "expired"
	Superseded MarkKind = "superseded"
	Inspect    MarkKind = "inspect" // an advice that somebody must look
	Happened   MarkKind = "event"
)

// Mark is a decision, or something a person did, at one moment.
type Mark struct {
	At   time.Time
	Kind MarkKind
	Text string // such as "irrigate, by head-grower" or "transplanted"
}

// largestGap is the longest time between two values of water content that a
// line may join and a mean may count: a zone's state comes every minute, the
// ledger's points every five (common practice, no source).
const largestGap = 30 * time.Minute

// starts returns the starts of the days from From to To, those given or local
// midnights, and at the end the start after the last.
func (d *Days) starts() []time.Time {
	if len(d.Starts) > 0 {
		s := slices.Clone(d.Starts)
		slices.SortFunc(s, time.Time.Compare)
		return append(slices.CompactFunc(s, time.Time.Equal), d.To)
	}
	y, m, day := d.From.In(d.location()).Date()
	var s []time.Time
	for i := 0; ; i++ {
		t := time.Date(y, m, day+i, 0, 0, 0, 0, d.location())
		if !t.Before(d.To) {
			return append(s, d.To)
		}
		s = append(s, t)
	}
}

func (d *Days) location() *time.Location {
	if d.Location == nil {
		return time.UTC
	}
	return d.Location
}

// marks returns those between From and To, in the order of time.
func (d *Days) marks() []Mark {
	var marks []Mark
	for _, m := range d.Marks {
		if !m.At.Before(d.From) && !m.At.After(d.To) {
			marks = append(marks, m)
		}
	}
	slices.SortStableFunc(marks, func(a, b Mark) int { return a.At.Compare(b.At) })
	return marks
}

// bandAt returns the band that holds at t, or false before the first.
func (d *Days) bandAt(t time.Time) (Edges, bool) {
	i := sort.Search(len(d.Band), func(i int) bool { return d.Band[i].From.After(t) })
	if i == 0 {
		return Edges{}, false
	}
	return d.Band[i-1], true
}

// waterAt returns the water content at t between its neighbours, or false where
// they are further apart than largestGap.
func (d *Days) waterAt(t time.Time) (float64, bool) {
	i := sort.Search(len(d.Water), func(i int) bool { return !d.Water[i].At.Before(t) })
	if i < len(d.Water) && d.Water[i].At.Equal(t) {
		return d.Water[i].Mean, true
	}
	if i == 0 || i == len(d.Water) {
		return 0, false
	}
	a, b := d.Water[i-1], d.Water[i]
	if b.At.Sub(a.At) > largestGap {
		return 0, false
	}
	share := float64(t.Sub(a.At)) / float64(b.At.Sub(a.At))
	return a.Mean + share*(b.Mean-a.Mean), true
}

// Score holds every forecast against the water content that came.
func (d *Days) Score() {
	for i := range d.Forecasts {
		f := &d.Forecasts[i]
		sum, inside := 0.0, 0
		f.compared, f.withInterval = 0, 0
		for k, want := range f.WaterContent {
			got, ok := d.waterAt(f.IssuedAt.Add(time.Duration(k) * f.Step))
			if !ok || k == 0 { // the first value is the present, and no forecast
				continue
			}
			sum += math.Abs(got - want)
			f.compared++
			if k < len(f.Low) && k < len(f.High) {
				f.withInterval++
				if got >= f.Low[k] && got <= f.High[k] {
					inside++
				}
			}
		}
		f.MeanAbsoluteError, f.Inside = math.NaN(), math.NaN()
		if f.compared > 0 {
			f.MeanAbsoluteError = sum / float64(f.compared)
		}
		if f.withInterval > 0 {
			f.Inside = float64(inside) / float64(f.withInterval)
		}
	}
}
