package report

import (
	"math"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/sensing"
)

// Collector makes the Days of a zone out of what comes along in the order of
// time: the engine's states and forecasts of a replay, or the samples that a
// ledger kept. Start at [NewCollector].
type Collector struct {
	days     Days
	settings *policy.Settings
	totals   policy.Totals
	counting bool // totals hold those of a state before
	traces   map[string]int
	usual    []policy.Course // beside days.Forecasts: the same forecasts, watered as usual
}

// NewCollector collects the days of a zone with these settings.
func NewCollector(s *policy.Settings) *Collector {
	c := &Collector{settings: s, traces: map[string]int{}}
	c.days = Days{Site: s.Site, Zone: s.Zone, Location: s.Location, TotalPorosity: s.Substrate.TotalPorosity}
	for _, p := range s.Probes {
		c.trace(p.ID)
	}
	return c
}

// Sample is a zone at one moment, with what happened since the sample before.
type Sample struct {
	At                     time.Time
	WaterContent           float64 // m3/m3
	SD                     float64 // m3/m3, 0 when there is none
	FullPoint, RefillPoint float64 // m3/m3
	SaturationS            float64 // s
	IrrigationML           float64 // per container
	DrainML                float64 // per container
	UptakeML               float64 // per container
}

// intervalFactor is how many standard deviations an interval of 90 % reaches to
// each side: the 0.95 quantile of the normal distribution.
const intervalFactor = 1.6449

// Sample adds a moment.
func (c *Collector) Sample(s Sample) {
	d := &c.days
	spread := intervalFactor * s.SD
	d.Water = append(d.Water, Water{s.At, s.WaterContent, s.WaterContent - spread, s.WaterContent + spread})
	if n := len(d.Band); s.FullPoint > s.RefillPoint && (n == 0 || moved(d.Band[n-1].FullPoint, s.FullPoint) || moved(d.Band[n-1].RefillPoint, s.RefillPoint)) {
		d.Band = append(d.Band, Edges{s.At, s.FullPoint, s.RefillPoint})
	}
	if s.SaturationS > 0 {
		c.saturated(Span{s.At.Add(-time.Duration(s.SaturationS * float64(time.Second))), s.At})
	}
	add := func(to *[]Volume, ml float64) {
		if ml > 0 {
			*to = append(*to, Volume{s.At, ml})
		}
	}
	add(&d.Shots, s.IrrigationML)
	add(&d.Drains, s.DrainML)
	// Zeros of uptake are kept: a zone that drinks nothing is not one of which
	// nothing is known.
	d.Uptake = append(d.Uptake, Volume{s.At, s.UptakeML})
}

// moved reports whether an edge of the band is another one than before, beyond
// the rounding of what is published.
func moved(before, now float64) bool { return math.Abs(before-now) > 0.00015 }

// saturated joins a span to the one before where they touch: states round to
// whole seconds.
func (c *Collector) saturated(s Span) {
	all := c.days.Saturated
	if n := len(all); n > 0 && !s.From.After(all[n-1].To.Add(2*time.Second)) {
		all[n-1].To = later(all[n-1].To, s.To)
		return
	}
	c.days.Saturated = append(all, s)
}

// State adds what the engine believed at a moment. A state that is not known yet
// is left out; counters that start anew count from there.
func (c *Collector) State(s *policy.State) {
	if !s.Known {
		return
	}
	since := func(now, before float64) float64 {
		if !c.counting {
			return 0
		}
		return max(0, now-before)
	}
	t, last := s.Totals, c.totals
	c.Sample(Sample{At: s.Time, WaterContent: s.WaterContent, SD: s.WaterContentSD, FullPoint: s.FullPoint, RefillPoint: s.RefillPoint,
		SaturationS: since(t.SaturationS, last.SaturationS), IrrigationML: since(t.IrrigationML, last.IrrigationML),
		DrainML: since(t.DrainML, last.DrainML), UptakeML: since(t.UptakeML, last.UptakeML)})
	c.totals, c.counting = t, true
	for _, p := range s.Probes {
		if p.Seen {
			c.Probe(s.Time, ProbeReading{p.ID, s.Time.Add(-time.Duration(p.AgeS * float64(time.Second))), p.WaterContent, p.Health})
		}
	}
}

// ProbeReading is the last reading of a probe, and what is thought of it.
type ProbeReading struct {
	ID           string
	At           time.Time
	WaterContent float64 // m3/m3
	Health       string  // as published
}

// Probe adds what a probe last read before a moment, and how it was then; a reading
// that was there already is left out.
func (c *Collector) Probe(now time.Time, r ProbeReading) {
	tr := &c.days.Probes[c.trace(r.ID)]
	tr.was(now, r.Health)
	if n := len(tr.Readings); n > 0 && !r.At.After(tr.Readings[n-1].At) {
		return
	}
	tr.Readings = append(tr.Readings, Reading{r.At, r.WaterContent})
}

// was notes the health of a probe at a moment: an illness goes on until the probe is
// found otherwise, or until nothing is known of it.
func (t *Trace) was(now time.Time, health string) {
	n := len(t.Ill)
	if n > 0 && t.Ill[n-1].open {
		last := &t.Ill[n-1]
		if now.Sub(last.To) <= largestGap {
			last.To = now
		}
		last.open = last.Health == health && last.To.Equal(now)
		if last.open {
			return
		}
	}
	if health != sensing.OK.String() {
		t.Ill = append(t.Ill, Illness{Span: Span{now, now}, Health: health, open: true})
	}
}

func (c *Collector) trace(id string) int {
	i, ok := c.traces[id]
	if !ok {
		i = len(c.days.Probes)
		c.traces[id] = i
		c.days.Probes = append(c.days.Probes, Trace{ID: id})
	}
	return i
}

// Told reports whether a forecast is told of in a report, where the last that is was
// issued at a moment (zero: there is none): the first of each irrigation day is, the
// one that a person could have looked at in the morning. Later ones would hide it.
func Told(s *policy.Settings, last, issued time.Time) bool {
	return last.IsZero() || s.DayAt(issued).Start.After(last)
}

// Forecast keeps a forecast that is told of.
func (c *Collector) Forecast(f *policy.Forecast, step time.Duration) {
	all := c.days.Forecasts
	var last time.Time
	if n := len(all); n > 0 {
		last = all[n-1].IssuedAt
	}
	if !Told(c.settings, last, f.IssuedAt) {
		return
	}
	c.days.Forecasts = append(all, course(f.IssuedAt, step, &f.Plan))
	c.usual = append(c.usual, f.AsUsual)
}

func course(issued time.Time, step time.Duration, c *policy.Course) Course {
	return Course{IssuedAt: issued, Step: step, WaterContent: c.WaterContent, Low: c.Low, High: c.High}
}

// Mark adds a decision or an event.
func (c *Collector) Mark(m Mark) { c.days.Marks = append(c.days.Marks, m) }

// Days returns the days from one moment to another. Two zero times stand for
// all that was collected.
func (c *Collector) Days(from, to time.Time) *Days {
	d := c.days
	if n := len(d.Water); n > 0 {
		if from.IsZero() {
			from = d.Water[0].At
		}
		if to.IsZero() {
			to = d.Water[n-1].At
		}
	}
	d.From, d.To = from, to
	d.Forecasts = c.told()
	d.Starts = nil
	for t := from; t.Before(to); {
		day := c.settings.DayAt(t)
		d.Starts = append(d.Starts, day.Start)
		t = day.Next
	}
	return &d
}

// told are the forecasts of how the zone was really watered: the plan's where an
// advice was in force for most of the time that the forecast covers, else the one
// of its usual water. A plan that nobody approved says nothing of what was to come,
// and held against it the forecast would look wrong.
func (c *Collector) told() []Course {
	spans := c.days.inForce()
	var told []Course
	for i, f := range c.days.Forecasts {
		window := Span{f.IssuedAt, f.IssuedAt.Add(24 * time.Hour)}
		followed := time.Duration(0)
		for _, s := range spans {
			followed += s.within(window.From, window.To)
		}
		if usual := &c.usual[i]; followed < 12*time.Hour && len(usual.WaterContent) > 0 {
			f = course(f.IssuedAt, f.Step, usual)
			f.Usual = true
		}
		told = append(told, f)
	}
	return told
}
