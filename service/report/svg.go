package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// svg is a canvas that writes SVG 1.1, elements and attributes that every
// reader of it knows.
type svg struct {
	b       strings.Builder
	hinting bool
}

func newSVG(width, height float64, title string) *svg {
	s := &svg{}
	fmt.Fprintf(&s.b, `<svg xmlns="http://www.w3.org/2000/svg" width="%s" height="%s" viewBox="0 0 %s %s" font-family="Helvetica, Arial, 'DejaVu Sans', sans-serif">`+"\n",
		px(width), px(height), px(width), px(height))
	fmt.Fprintf(&s.b, "<title>%s</title>\n", escape(title))
	return s
}

// end closes the picture and returns it.
func (s *svg) end() string {
	s.hint("")
	s.b.WriteString("</svg>\n")
	return s.b.String()
}

func (s *svg) line(points []point, p pen) {
	if len(points) < 2 {
		return
	}
	fmt.Fprintf(&s.b, `<polyline points="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round"`, places(points), hex(p.rgb), px(p.width))
	if p.alpha < 1 {
		fmt.Fprintf(&s.b, ` stroke-opacity="%s"`, px(p.alpha))
	}
	if len(p.dash) > 0 {
		dash := make([]string, len(p.dash))
		for i, d := range p.dash {
			dash[i] = px(d)
		}
		fmt.Fprintf(&s.b, ` stroke-dasharray="%s"`, strings.Join(dash, " "))
	}
	s.b.WriteString("/>\n")
}

func (s *svg) area(points []point, c colour) {
	if len(points) < 3 {
		return
	}
	fmt.Fprintf(&s.b, `<polygon points="%s" fill="%s"`, places(points), hex(c.rgb))
	if c.alpha < 1 {
		fmt.Fprintf(&s.b, ` fill-opacity="%s"`, px(c.alpha))
	}
	s.b.WriteString("/>\n")
}

func (s *svg) text(at point, f font, text string) {
	fmt.Fprintf(&s.b, `<text x="%s" y="%s" font-size="%s" fill="%s"`, px(at.x), px(at.y), px(f.size), hex(f.rgb))
	switch f.anchor {
	case middleAt:
		s.b.WriteString(` text-anchor="middle"`)
	case endAt:
		s.b.WriteString(` text-anchor="end"`)
	}
	if f.bold {
		s.b.WriteString(` font-weight="bold"`)
	}
	fmt.Fprintf(&s.b, ">%s</text>\n", escape(text))
}

func (s *svg) hint(text string) {
	if s.hinting {
		s.b.WriteString("</g>\n")
	}
	if s.hinting = text != ""; s.hinting {
		fmt.Fprintf(&s.b, "<g><title>%s</title>\n", escape(text))
	}
}

func places(points []point) string {
	var b strings.Builder
	for i, p := range points {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(px(p.x))
		b.WriteByte(',')
		b.WriteString(px(p.y))
	}
	return b.String()
}

// px writes a length to a hundredth of a pixel.
func px(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		panic(fmt.Sprintf("report: a place of %v in a picture", v))
	}
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}

func hex(rgb uint32) string { return fmt.Sprintf("#%06x", rgb) }

// escape makes a text safe within an element. What XML cannot carry at all
// becomes the replacement character.
func escape(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < 0x20 && r != '\t' && r != '\n' && r != '\r' || r == 0xfffe || r == 0xffff {
			return '\ufffd'
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(s)
}
