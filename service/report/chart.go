package report

import (
	"fmt"
	"io"
	"math"
	"time"
)

// The picture's measures, px.
const (
	chartWidth   = 1200.0
	marginLeft   = 62.0
	marginRight  = 62.0
	headHeight   = 56.0
	legendRow    = 20.0
	waterHeight  = 380.0
	stripHeight  = 26.0
	volumeHeight = 110.0
	footHeight   = 44.0
)

// pngScale is how many pixels of a PNG stand for one of the picture.
const pngScale = 2

// SVG writes the picture of the days: water content with its interval, the
// probes, the band, forecasts as they were issued, saturated time, decisions,
// shots and drain.
func (d *Days) SVG(w io.Writer) error {
	c := d.chart()
	s := newSVG(chartWidth, c.height(), c.title())
	c.draw(s)
	_, err := io.WriteString(w, s.end())
	return err
}

// PNG writes the same picture as pixels, two for each of the SVG's.
func (d *Days) PNG(w io.Writer) error {
	c := d.chart()
	r := newRaster(chartWidth, c.height(), pngScale)
	c.draw(r)
	return r.encode(w)
}

// chart is a picture laid out.
type chart struct {
	*Days
	entries []legendEntry
	rows    int // of the legend
	water   frame
	volume  frame
}

// chart lays the picture out.
func (d *Days) chart() *chart {
	// A person's list of marks comes as it comes; in the strip each goes right of
	// the one before.
	c := &chart{Days: d.clipped()}
	c.Marks = d.marks()
	c.entries, c.rows = c.legend()
	top := headHeight + float64(c.rows)*legendRow + 20
	low, high := d.range24()
	c.water = frame{marginLeft, top, chartWidth - marginLeft - marginRight, waterHeight, d.From, d.To, low, high}
	if !c.water.from.Before(c.water.to) {
		c.water.to = c.water.from.Add(time.Hour)
	}
	c.volume = c.water
	c.volume.y, c.volume.height = top+waterHeight+stripHeight, volumeHeight
	c.volume.low, c.volume.high = 0, d.largestVolume()
	return c
}

// clipped is what lies between From and To: what comes before and after counts in
// figures and is not drawn.
func (d *Days) clipped() *Days {
	c := *d
	window := Span{d.From, d.To}
	c.Water = only(d.Water, func(w Water) bool { return window.holds(w.At) })
	c.Probes = nil
	for _, p := range d.Probes {
		p.Readings = only(p.Readings, func(r Reading) bool { return window.holds(r.At) })
		p.Ill = only(p.Ill, func(s Illness) bool { return s.within(d.From, d.To) > 0 })
		c.Probes = append(c.Probes, p)
	}
	c.Saturated = only(d.Saturated, func(s Span) bool { return s.within(d.From, d.To) > 0 })
	c.Shots = only(d.Shots, func(v Volume) bool { return window.holds(v.At) })
	c.Drains = only(d.Drains, func(v Volume) bool { return window.holds(v.At) })
	c.Forecasts = only(d.Forecasts, func(f Course) bool {
		return Span{f.IssuedAt, f.IssuedAt.Add(time.Duration(len(f.WaterContent)) * f.Step)}.within(d.From, d.To) > 0
	})
	c.Band = nil
	for i, b := range d.Band {
		if b.From.Before(d.To) && (i+1 == len(d.Band) || d.Band[i+1].From.After(d.From)) {
			c.Band = append(c.Band, b)
		}
	}
	return &c
}

// only are the items that are kept.
func only[T any](all []T, keep func(T) bool) (kept []T) {
	for _, v := range all {
		if keep(v) {
			kept = append(kept, v)
		}
	}
	return kept
}

func (c *chart) height() float64 { return c.volume.y + c.volume.height + footHeight }

func (c *chart) title() string { return fmt.Sprintf("%s: zone %s", c.Site, c.Zone) }

// range24 is what the upright axis of the water content spans.
func (d *Days) range24() (low, high float64) {
	low, high = math.NaN(), math.NaN()
	see := func(v float64) {
		if !math.IsNaN(v) {
			low, high = fmin(low, v), fmax(high, v)
		}
	}
	for _, w := range d.Water {
		see(w.Mean)
		see(w.Low)
		see(w.High)
	}
	for _, b := range d.Band {
		see(b.FullPoint)
		see(b.RefillPoint)
	}
	for _, p := range d.Probes {
		for _, r := range p.Readings {
			see(r.Value)
		}
	}
	for _, f := range d.Forecasts {
		for _, v := range f.WaterContent {
			see(v)
		}
	}
	if math.IsNaN(low) {
		return 0, 1
	}
	pad := max(0.05*(high-low), 0.005)
	return max(0, low-pad), min(1, high+pad)
}

func (d *Days) largestVolume() float64 {
	most := 0.0
	for _, v := range append(append([]Volume(nil), d.Shots...), d.Drains...) {
		most = max(most, v.ML)
	}
	if most == 0 {
		return 1
	}
	return 1.1 * most
}

// draw puts the layers on one another, from the ground up.
func (c *chart) draw(k canvas) {
	k.area(rectangle(0, 0, chartWidth, c.height()), solid(0xffffff))
	k.text(point{marginLeft, 26}, font{colour: solid(black), size: 18, bold: true}, c.title())
	k.text(point{marginLeft, 45}, font{colour: solid(grey), size: 12}, c.subtitle())
	c.drawLegend(k)
	c.drawSaturated(k)
	c.drawBand(k)
	c.drawGrid(k)
	c.drawForecasts(k)
	c.drawProbes(k)
	c.drawWater(k)
	c.drawVolumes(k)
	c.drawMarks(k)
	c.drawBorders(k)
}

func (c *chart) subtitle() string {
	const day = "2 January 2006"
	from, to := c.From.In(c.location()).Format(day), c.To.Add(-time.Second).In(c.location()).Format(day)
	span := from
	if from != to {
		span = from + " to " + to
	}
	return fmt.Sprintf("%s, times of %s; water content is the mean over the container, volumes are per container", span, c.location())
}

// drawGrid draws the axes' lines and their labels.
func (c *chart) drawGrid(k canvas) {
	small := font{colour: solid(grey), size: 11}
	left, right, middle := small, small, small
	left.anchor, right.anchor, middle.anchor = endAt, startAt, middleAt
	values := ticks(c.water.low, c.water.high, 8)
	n := max(2, decimalsOf(values))
	for _, v := range values {
		y := c.water.atValue(v)
		k.line([]point{{c.water.x, y}, {c.water.x + c.water.width, y}}, pen{colour{faint, 1}, 0.6, nil})
		k.text(point{c.water.x - 6, y + 4}, left, fmt.Sprintf("%.*f", n, v))
		if c.TotalPorosity > 0 {
			k.text(point{c.water.x + c.water.width + 6, y + 4}, right, fmt.Sprintf("%.*f", n, max(0, c.TotalPorosity-v)))
		}
	}
	for _, v := range ticks(0, c.volume.high, 3) {
		y := c.volume.atValue(v)
		k.line([]point{{c.volume.x, y}, {c.volume.x + c.volume.width, y}}, pen{colour{faint, 1}, 0.6, nil})
		k.text(point{c.volume.x - 6, y + 4}, left, fmt.Sprintf("%.0f", v))
	}
	foot := c.volume.y + c.volume.height
	for _, t := range timeTicks(c.water.from, c.water.to, c.location(), c.water.width) {
		x := c.water.atTime(t.at)
		p := pen{colour{faint, 1}, 0.6, nil}
		f, y := middle, foot+15
		if t.day {
			p, f.colour, y = pen{colour{grey, 0.7}, 0.8, nil}, solid(black), foot+30
		}
		k.line([]point{{x, c.water.y}, {x, foot}}, p)
		if t.label != "" {
			k.text(point{x, y}, f, t.label)
		}
	}
	k.text(point{8, c.water.y - 6}, small, "water content m3/m3")
	if c.TotalPorosity > 0 {
		k.text(point{chartWidth - 8, c.water.y - 6}, left, "air m3/m3")
	}
	k.text(point{8, c.volume.y - 6}, small, "mL")
}

// drawBorders frames the panels, over what was drawn in them.
func (c *chart) drawBorders(k canvas) {
	for _, f := range []frame{c.water, c.volume} {
		box := rectangle(f.x, f.y, f.width, f.height)
		k.line(append(box, box[0]), pen{solid(grey), 1, nil})
	}
	for _, t := range c.Starts {
		if x := c.water.atTime(t); c.water.holds(t) {
			k.area([]point{{x - 4, c.water.y}, {x + 4, c.water.y}, {x, c.water.y + 6}}, solid(black))
		}
	}
}
