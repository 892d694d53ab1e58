package report

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"sync"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// raster is a canvas of pixels.
type raster struct {
	img     *image.RGBA
	scale   float64 // pixels by px of the picture
	fill    *vector.Rasterizer
	pending [][]point           // outlines to fill, in pixels
	faces   map[font]xfont.Face // by size and weight
}

func newRaster(width, height, scale float64) *raster {
	w, h := int(math.Ceil(width*scale)), int(math.Ceil(height*scale))
	r := &raster{img: image.NewRGBA(image.Rect(0, 0, w, h)), scale: scale, fill: vector.NewRasterizer(0, 0), faces: map[font]xfont.Face{}}
	draw.Draw(r.img, r.img.Bounds(), image.White, image.Point{}, draw.Src)
	return r
}

func (r *raster) encode(w io.Writer) error { return png.Encode(w, r.img) }

func (r *raster) hint(string) {}

func (r *raster) area(points []point, c colour) {
	if len(points) < 3 {
		return
	}
	r.outline(points)
	r.paint(c)
}

// line fills a quadrangle for each piece of the line, and a disc where two meet.
// All run the same way round, so that they add up under the nonzero rule and
// a line that is half transparent shows no joints.
func (r *raster) line(points []point, p pen) {
	for _, part := range dashes(points, p.dash) {
		for i := 0; i+1 < len(part); i++ {
			a, b := part[i], part[i+1]
			length := math.Hypot(b.x-a.x, b.y-a.y)
			if length == 0 {
				continue
			}
			nx, ny := (b.y-a.y)/length*p.width/2, -(b.x-a.x)/length*p.width/2
			r.outline([]point{{a.x + nx, a.y + ny}, {b.x + nx, b.y + ny}, {b.x - nx, b.y - ny}, {a.x - nx, a.y - ny}})
			if i > 0 && p.width > 1 {
				r.outline(circle(a, p.width/2))
			}
		}
	}
	r.paint(p.colour)
}

// outline adds a closed outline to what paint fills, running clockwise.
func (r *raster) outline(points []point) {
	twice := 0.0
	for i, p := range points {
		q := points[(i+1)%len(points)]
		twice += p.x*q.y - q.x*p.y
	}
	scaled := make([]point, len(points))
	for i, p := range points {
		if twice < 0 {
			p = points[len(points)-1-i]
		}
		scaled[i] = point{p.x * r.scale, p.y * r.scale}
	}
	r.pending = append(r.pending, scaled)
}

// paint fills the outlines added since the last time. Only the box around them
// is touched: most of what is drawn is small beside the picture.
func (r *raster) paint(c colour) {
	box := image.Rectangle{}
	for _, outline := range r.pending {
		for _, p := range outline {
			x, y := int(math.Floor(p.x)), int(math.Floor(p.y))
			box = box.Union(image.Rect(x, y, x+2, y+2))
		}
	}
	box = box.Intersect(r.img.Bounds())
	r.fill.Reset(box.Dx(), box.Dy())
	for _, outline := range r.pending {
		for i, p := range outline {
			x, y := float32(p.x-float64(box.Min.X)), float32(p.y-float64(box.Min.Y))
			if i == 0 {
				r.fill.MoveTo(x, y)
			} else {
				r.fill.LineTo(x, y)
			}
		}
		r.fill.ClosePath()
	}
	r.fill.Draw(r.img, box, image.NewUniform(c.of()), image.Point{})
	r.pending = r.pending[:0]
}

func (c colour) of() color.Color {
	return color.NRGBA{uint8(c.rgb >> 16), uint8(c.rgb >> 8), uint8(c.rgb), uint8(math.Round(255 * c.alpha))}
}

func (r *raster) text(at point, f font, s string) {
	face := r.face(f)
	d := xfont.Drawer{Dst: r.img, Src: image.NewUniform(f.of()), Face: face}
	x := at.x * r.scale
	switch width := float64(d.MeasureString(s)) / 64; f.anchor {
	case middleAt:
		x -= width / 2
	case endAt:
		x -= width
	}
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(math.Round(x * 64)), Y: fixed.Int26_6(math.Round(at.y * r.scale * 64))}
	d.DrawString(s)
}

// fonts parses the two built-in fonts once.
var fonts = sync.OnceValue(func() [2]*opentype.Font {
	var parsed [2]*opentype.Font
	for i, ttf := range [2][]byte{goregular.TTF, gobold.TTF} {
		f, err := opentype.Parse(ttf)
		if err != nil {
			panic(fmt.Sprintf("report: built-in font %d: %v", i, err))
		}
		parsed[i] = f
	}
	return parsed
})

func (r *raster) face(f font) xfont.Face {
	key := font{size: f.size, bold: f.bold}
	if face, ok := r.faces[key]; ok {
		return face
	}
	parsed := fonts()[0]
	if f.bold {
		parsed = fonts()[1]
	}
	face, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: f.size * r.scale, DPI: 72, Hinting: xfont.HintingFull})
	if err != nil {
		panic(fmt.Sprintf("report: font of %g px: %v", f.size, err))
	}
	r.faces[key] = face
	return face
}

// dashes cuts a line into the parts that a dash pattern draws.
func dashes(points []point, pattern []float64) [][]point {
	if len(points) < 2 {
		return nil
	}
	if len(pattern) == 0 {
		return [][]point{points}
	}
	var parts [][]point
	turn, left := 0, pattern[0]
	part := []point{points[0]}
	for i := 0; i+1 < len(points); i++ {
		a, b := points[i], points[i+1]
		length := math.Hypot(b.x-a.x, b.y-a.y)
		for done := 0.0; done < length; {
			step := min(left, length-done)
			done, left = done+step, left-step
			at := point{a.x + (b.x-a.x)*done/length, a.y + (b.y-a.y)*done/length}
			part = append(part, at)
			if left > 0 {
				continue
			}
			if turn%2 == 0 {
				parts = append(parts, part)
			}
			turn++
			left = pattern[turn%len(pattern)]
			part = []point{at}
		}
	}
	if turn%2 == 0 && len(part) > 1 {
		parts = append(parts, part)
	}
	return parts
}
