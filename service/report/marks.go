package report

import (
	"fmt"
	"slices"
)

// drawMarks puts decisions and events into the strip between the panels, one
// shape a kind; what is close together moves apart to the right.
func (c *chart) drawMarks(k canvas) {
	y := c.water.y + c.water.height + stripHeight/2
	free := 0.0 // first x at which a mark touches none before it
	for _, m := range c.Marks {
		if !c.water.holds(m.At) {
			continue
		}
		at := c.water.atTime(m.At)
		x := max(at, free)
		free = x + 11
		k.hint(fmt.Sprintf("%s: %s %s", c.clock(m.At), m.Kind, m.Text))
		k.line([]point{{at, c.water.y + c.water.height}, {at, c.water.y + c.water.height + 4}}, pen{solid(black), 1, nil})
		drawMark(k, m.Kind, point{x, y})
		k.hint("")
	}
}

// drawMark draws the shape of a kind.
func drawMark(k canvas, kind MarkKind, at point) {
	const r = 4.5
	line := pen{solid(black), 1.4, nil}
	diamond := []point{{at.x, at.y - r}, {at.x + r, at.y}, {at.x, at.y + r}, {at.x - r, at.y}}
	closed := func(points []point) []point { return append(points[:len(points):len(points)], points[0]) }
	switch kind {
	case Issued:
		k.line(closed(circle(at, r-0.5)), line)
	case Approved:
		k.line([]point{{at.x - r, at.y}, {at.x - 1, at.y + r - 1}, {at.x + r, at.y - r}}, pen{solid(green), 2.4, nil})
	case Rejected:
		cross := pen{solid(vermillion), 2.2, nil}
		k.line([]point{{at.x - r + 1, at.y - r + 1}, {at.x + r - 1, at.y + r - 1}}, cross)
		k.line([]point{{at.x - r + 1, at.y + r - 1}, {at.x + r - 1, at.y - r + 1}}, cross)
	case Withdrawn:
		k.area(rectangle(at.x-r+0.5, at.y-r+0.5, 2*r-1, 2*r-1), solid(vermillion))
	case Expired:
		k.line(closed(rectangle(at.x-r+1, at.y-r+1, 2*r-2, 2*r-2)), line)
	case Superseded:
		k.line(closed(diamond), line)
	case Inspect:
		k.area([]point{{at.x, at.y - r}, {at.x + r, at.y + r - 0.5}, {at.x - r, at.y + r - 0.5}}, solid(orange))
		k.line([]point{{at.x, at.y - 1.5}, {at.x, at.y + 2}}, pen{solid(black), 1.6, nil})
	default: // an event
		k.area(diamond, solid(purple))
		k.line(closed(diamond), pen{solid(black), 0.8, nil})
	}
}

// legendEntry is one item of the legend; draw puts its sample into 26 px from at.
type legendEntry struct {
	label string
	draw  func(k canvas, at point)
	x     float64
	row   int
}

// legend lists what the picture shows, and nothing else, and lays it out.
func (c *chart) legend() (entries []legendEntry, rows int) {
	sample := func(p pen) func(canvas, point) {
		return func(k canvas, at point) { k.line([]point{at, {at.x + 26, at.y}}, p) }
	}
	box := func(fill colour, edge pen) func(canvas, point) {
		return func(k canvas, at point) {
			k.area(rectangle(at.x, at.y-5, 26, 10), fill)
			if edge.width > 0 {
				k.line([]point{{at.x, at.y - 5}, {at.x + 26, at.y - 5}}, edge)
				k.line([]point{{at.x, at.y + 5}, {at.x + 26, at.y + 5}}, edge)
			}
		}
	}
	add := func(show bool, label string, draw func(canvas, point)) {
		if show {
			entries = append(entries, legendEntry{label: label, draw: draw})
		}
	}
	add(len(c.Water) > 0, "water content", func(k canvas, at point) {
		if c.intervals() {
			box(intervalFill, pen{})(k, at)
		}
		sample(waterPen)(k, at)
	})
	add(len(c.Band) > 0, "band", box(bandFill, edgePen))
	for _, usual := range []bool{false, true} {
		label, p := wayOf(usual)
		shown := slices.ContainsFunc(c.Forecasts, func(f Course) bool { return f.Usual == usual })
		add(shown, "forecast as issued, "+label, func(k canvas, at point) { box(foresight, pen{})(k, at); sample(p)(k, at) })
	}
	for i, p := range c.Probes {
		add(len(p.Readings) > 0, "probe "+p.ID, sample(probePen(i)))
	}
	add(slices.ContainsFunc(c.Probes, c.shownIll), "probe not believed", func(k canvas, at point) { sample(illPen)(k, at); sample(probePen(0))(k, at) })
	add(len(c.Saturated) > 0, "saturated", func(k canvas, at point) {
		box(colour{vermillion, 0.10}, pen{})(k, at)
		hatch(k, at.x, at.y-5, 26, 10, 8, hatchPen)
	})
	add(len(c.Shots) > 0, "shots", func(k canvas, at point) { k.area(rectangle(at.x+10, at.y-6, 6, 12), shotFill) })
	add(len(c.Drains) > 0, "drain", func(k canvas, at point) {
		bar := rectangle(at.x+11, at.y-6, 4, 12)
		k.area(bar, drainFill)
		k.line(append(bar, bar[0]), pen{solid(black), 0.5, nil})
	})
	add(len(c.Starts) > 0, "irrigation day starts", func(k canvas, at point) {
		k.area([]point{{at.x + 9, at.y - 3}, {at.x + 17, at.y - 3}, {at.x + 13, at.y + 3}}, solid(black))
	})
	for _, kind := range []MarkKind{Issued, Approved, Rejected, Withdrawn, Expired, Superseded, Inspect, Happened} {
		for _, m := range c.Marks {
			if m.Kind == kind {
				add(true, string(kind), func(k canvas, at point) { drawMark(k, kind, point{at.x + 13, at.y}) })
				break
			}
		}
	}
	return entries, arrange(entries)
}

// arrange puts entries side by side in as many rows as they need.
func arrange(entries []legendEntry) (rows int) {
	x, row := marginLeft, 0
	for i := range entries {
		// A letter of 12 px is about 6.4 px wide in the fonts used.
		width := 34 + 6.4*float64(len([]rune(entries[i].label))) + 14
		if x+width > chartWidth-marginRight && x > marginLeft {
			x, row = marginLeft, row+1
		}
		entries[i].x, entries[i].row = x, row
		x += width
	}
	return row + 1
}

func (c *chart) drawLegend(k canvas) {
	for _, e := range c.entries {
		at := point{e.x, headHeight + legendRow*(float64(e.row)+0.5)}
		e.draw(k, at)
		k.text(point{at.x + 32, at.y + 4}, font{colour: solid(black), size: 12}, e.label)
	}
}
