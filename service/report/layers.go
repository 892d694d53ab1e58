package report

import (
	"fmt"
	"time"
)

// The pens of the picture: each differs from the others in more than colour.
var (
	waterPen    = pen{solid(blue), 2.2, nil}
	forecastPen = pen{solid(orange), 1.8, []float64{7, 4}}
	usualPen    = pen{solid(orange), 1.8, []float64{2, 3}}
	edgePen     = pen{solid(green), 1.3, nil}
	illPen      = pen{colour{vermillion, 0.30}, 6, nil}
	hatchPen    = pen{colour{vermillion, 0.45}, 1, nil}
	probeDashes = [][]float64{{1.5, 2.5}, {4, 2}, {8, 2, 2, 2}, {12, 3}}
	probeShades = []uint32{0x555555, 0x8a6d3b, 0x7a5195, 0x4f7f7f}

	bandFill     = colour{green, 0.12}
	intervalFill = colour{blue, 0.22}
	foresight    = colour{orange, 0.16}
	shotFill     = colour{sky, 0.95}
	drainFill    = colour{purple, 0.95}
)

func probePen(i int) pen {
	return pen{solid(probeShades[i%len(probeShades)]), 1.1, probeDashes[i%len(probeDashes)]}
}

// drawSaturated hatches the time in which the zone was saturated.
func (c *chart) drawSaturated(k canvas) {
	for _, s := range c.Saturated {
		from, to := later(s.From, c.water.from), earlier(s.To, c.water.to)
		if !from.Before(to) {
			continue
		}
		x0, x1 := c.water.atTime(from), c.water.atTime(to)
		width := max(x1-x0, 1)
		k.hint(fmt.Sprintf("saturated from %s to %s", c.clock(s.From), c.clock(s.To)))
		k.area(rectangle(x0, c.water.y, width, c.water.height), colour{vermillion, 0.10})
		hatch(k, x0, c.water.y, width, c.water.height, 8, hatchPen)
		k.hint("")
	}
}

// drawBand fills the target band and draws its edges as steps.
func (c *chart) drawBand(k canvas) {
	for i, b := range c.Band {
		from, to := later(b.From, c.water.from), c.water.to
		if i+1 < len(c.Band) {
			to = earlier(c.Band[i+1].From, to)
		}
		if !from.Before(to) {
			continue
		}
		x0, x1 := c.water.atTime(from), c.water.atTime(to)
		top, bottom := c.water.atValue(c.water.clip(b.FullPoint)), c.water.atValue(c.water.clip(b.RefillPoint))
		k.hint(fmt.Sprintf("band from %s: full point %.3f, refill point %.3f m3/m3", c.clock(b.From), b.FullPoint, b.RefillPoint))
		k.area(rectangle(x0, top, x1-x0, bottom-top), bandFill)
		k.line([]point{{x0, top}, {x1, top}}, edgePen)
		k.line([]point{{x0, bottom}, {x1, bottom}}, edgePen)
		k.hint("")
	}
}

// wayOf tells how a forecast takes the zone to be watered, and its pen.
func wayOf(usual bool) (string, pen) {
	if usual {
		return "watered as usual", usualPen
	}
	return "under the advice", forecastPen
}

// drawForecasts draws each forecast with its interval as it was issued.
func (c *chart) drawForecasts(k canvas) {
	for _, f := range c.Forecasts {
		var mean, low, high []point
		for i, v := range f.WaterContent {
			t := f.IssuedAt.Add(time.Duration(i) * f.Step)
			if !c.water.holds(t) {
				continue
			}
			x := c.water.atTime(t)
			mean = append(mean, point{x, c.water.atValue(c.water.clip(v))})
			if i < len(f.Low) && i < len(f.High) {
				low = append(low, point{x, c.water.atValue(c.water.clip(f.Low[i]))})
				high = append(high, point{x, c.water.atValue(c.water.clip(f.High[i]))})
			}
		}
		way, line := wayOf(f.Usual)
		k.hint(fmt.Sprintf("forecast of %s, %s", c.clock(f.IssuedAt), way))
		k.area(between(low, high), foresight)
		k.line(mean, line)
		k.hint("")
	}
}

// drawIll underlays what a probe read while it was not believed.
func (c *chart) drawIll(k canvas, p *Trace) {
	for _, ill := range p.Ill {
		var run []point
		for _, r := range p.Readings {
			if c.water.holds(r.At) && ill.holds(r.At) {
				run = append(run, point{c.water.atTime(r.At), c.water.atValue(c.water.clip(r.Value))})
			}
		}
		k.hint(fmt.Sprintf("probe %s %s from %s to %s", p.ID, ill.Health, c.clock(ill.From), c.clock(ill.To)))
		k.line(thin(run), illPen)
		k.hint("")
	}
}

// shownIll reports whether drawIll has anything to draw of a probe.
func (c *chart) shownIll(p Trace) bool {
	for _, ill := range p.Ill {
		seen := 0
		for _, r := range p.Readings {
			if ill.holds(r.At) {
				seen++
			}
		}
		if seen > 1 { // a line takes two
			return true
		}
	}
	return false
}

// drawProbes draws each probe's readings.
func (c *chart) drawProbes(k canvas) {
	for i, p := range c.Probes {
		c.drawIll(k, &c.Probes[i])
		k.hint("probe " + p.ID)
		var run []point
		var last time.Time
		for _, r := range p.Readings {
			if !c.water.holds(r.At) {
				continue
			}
			if len(run) > 0 && r.At.Sub(last) > largestGap {
				k.line(thin(run), probePen(i))
				run = nil
			}
			run, last = append(run, point{c.water.atTime(r.At), c.water.atValue(c.water.clip(r.Value))}), r.At
		}
		k.line(thin(run), probePen(i))
		k.hint("")
	}
}

// drawWater draws the zone's water content and its interval.
func (c *chart) drawWater(k canvas) {
	var mean, low, high []point
	var last time.Time
	flush := func() {
		k.area(between(thin(low), thin(high)), intervalFill)
		k.line(thin(mean), waterPen)
		mean, low, high = nil, nil, nil
	}
	k.hint("water content of the zone")
	for _, w := range c.Water {
		if !c.water.holds(w.At) {
			continue
		}
		if len(mean) > 0 && w.At.Sub(last) > largestGap {
			flush()
		}
		x := c.water.atTime(w.At)
		mean = append(mean, point{x, c.water.atValue(c.water.clip(w.Mean))})
		if w.High > w.Low {
			low = append(low, point{x, c.water.atValue(c.water.clip(w.Low))})
			high = append(high, point{x, c.water.atValue(c.water.clip(w.High))})
		}
		last = w.At
	}
	flush()
	k.hint("")
}

// between is the outline of what lies between two lines.
func between(low, high []point) []point {
	outline := append([]point(nil), high...)
	for i := len(low) - 1; i >= 0; i-- {
		outline = append(outline, low[i])
	}
	return outline
}

// drawVolumes draws shots as bars and drain as narrower bars with a hatch.
func (c *chart) drawVolumes(k canvas) {
	foot := c.volume.y + c.volume.height
	// A bar is as wide as half an hour where there is room, and never a hair.
	bar := min(max(c.volume.width/c.volume.to.Sub(c.volume.from).Hours()/2, 1.2), 6)
	bars := func(name string, volumes []Volume, width, shift float64, fill colour, hatched bool) {
		for _, v := range volumes {
			if v.ML <= 0 || !c.volume.holds(v.At) {
				continue
			}
			x, y := c.volume.atTime(v.At)+shift, c.volume.atValue(v.ML)
			k.hint(fmt.Sprintf("%s of %.0f mL at %s", name, v.ML, c.clock(v.At)))
			k.area(rectangle(x, y, width, foot-y), fill)
			if hatched {
				k.line([]point{{x, foot}, {x, y}, {x + width, y}, {x + width, foot}}, pen{solid(black), 0.5, nil})
			}
			k.hint("")
		}
	}
	bars("shot", c.Shots, bar, 0, shotFill, false)
	bars("drain", c.Drains, 0.6*bar, 0.2*bar, drainFill, bar > 2)
}

// clock writes a moment in the site's time.
func (d *Days) clock(t time.Time) string { return t.In(d.location()).Format("2 Jan 15:04") }
