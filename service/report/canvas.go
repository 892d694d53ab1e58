package report

import "math"

// point is a place on a picture: x to the right, y down, in pixels.
type point struct{ x, y float64 }

// colour is red, green, blue as #rrggbb, and how much of it covers what is below.
type colour struct {
	rgb   uint32
	alpha float64 // 0 to 1
}

// pen is how a line is drawn.
type pen struct {
	colour
	width float64
	dash  []float64 // lengths of line and gap by turns; none: a whole line
}

// anchor says which part of a text stands at its place.
type anchor uint8

const (
	startAt anchor = iota
	middleAt
	endAt
)

// font is how a text is written.
type font struct {
	colour
	size   float64 // height of the letters' line, px
	anchor anchor
	bold   bool
}

// canvas is what a picture is drawn on: SVG for screens and papers, pixels for
// messages and old browsers. Outlines are filled by the nonzero rule.
type canvas interface {
	line(points []point, p pen)
	area(points []point, c colour)
	text(at point, f font, s string)
	// hint explains what is drawn until the next hint to those who point at it;
	// "" ends it. A canvas that nobody can point at does nothing.
	hint(s string)
}

// The colours are those of Okabe & Ito (2008), which people with the usual
// colour deficiencies tell apart; lines differ in dash and shapes in form too.
const (
	black      = 0x000000
	grey       = 0x767676
	faint      = 0xd9d9d9
	blue       = 0x0072b2
	sky        = 0x56b4e9
	orange     = 0xe69f00
	green      = 0x009e73
	vermillion = 0xd55e00
	purple     = 0xcc79a7
)

func solid(rgb uint32) colour { return colour{rgb, 1} }

// rectangle is the outline of a box.
func rectangle(x, y, width, height float64) []point {
	return []point{{x, y}, {x + width, y}, {x + width, y + height}, {x, y + height}}
}

// hatch draws slanted lines, spacing apart, within a box.
func hatch(c canvas, x, y, width, height, spacing float64, p pen) {
	// A line x' + y' = k runs from lower left to upper right; k on a grid that
	// all boxes share, so that neighbours join.
	for k := math.Ceil((x+y)/spacing) * spacing; k < x+width+y+height; k += spacing {
		x0, x1 := max(x, k-y-height), min(x+width, k-y)
		if x1 > x0 {
			c.line([]point{{x0, k - x0}, {x1, k - x1}}, p)
		}
	}
}

// circle is the outline of a circle, near enough for a mark.
func circle(at point, radius float64) []point {
	const corners = 20
	points := make([]point, corners)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		points[i] = point{at.x + radius*cos, at.y + radius*sin}
	}
	return points
}
