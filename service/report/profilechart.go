package report

import (
	"fmt"
	"io"
	"math"

	"rhizostat/policy/hydraulics"
)

// ProfilePicture is what a picture of a container shows.
type ProfilePicture struct {
	Title    string // such as site and zone
	Profile  *hydraulics.Profile
	Band     hydraulics.Band
	Aeration hydraulics.Aeration
	Probes   []ProfileProbe // in any order
}

// ProfileProbe is where a probe is.
type ProfileProbe struct {
	ID              string
	HeightCM        float64 // of its middle, above the container's bottom
	SensingLengthCM float64
}

// ProfileChart writes an SVG of what the physics makes of a container: water and
// air by height at container capacity, full point and refill point, with the
// band and what each probe reads across it, and below it the aeration margin by
// mean water content, cool and warm. Lines differ in dash as well as in colour.
// An error is w's own, or says which probe is not in the container.
func ProfileChart(w io.Writer, z ProfilePicture) error {
	marks, err := z.probeMarks()
	if err != nil {
		return err
	}
	k := newSVG(profileWidth, profileHeight, z.Title+": water and air by height")
	k.area(rectangle(0, 0, profileWidth, profileHeight), solid(0xffffff))
	z.heading(k)
	z.drawProfiles(k, marks)
	z.drawColumns(k)
	z.drawMargin(k)
	_, err = io.WriteString(w, k.end())
	return err
}

// The layout, px.
const (
	profileWidth, profileHeight = 960.0, 850.0
	profileTop, profileTall     = 116.0, 340.0 // of the panels that share the height axis
)

// plane is a panel with two plain axes.
type plane struct {
	x, y, width, height float64 // px
	left, right         float64 // values of the level axis
	bottom, top         float64 // values of the upright axis
}

func (p plane) at(across, up float64) point {
	return point{p.x + p.width*(across-p.left)/(p.right-p.left), p.y + p.height*(p.top-up)/(p.top-p.bottom)}
}

// grid draws lines and numbers at round values of both axes.
func (p plane) grid(k canvas, mostAcross, mostUp int) {
	small := font{colour: solid(0x333333), size: 11, anchor: middleAt}
	line := pen{colour: solid(faint), width: 1}
	across := ticks(p.left, p.right, mostAcross)
	for _, v := range across {
		at := p.at(v, p.bottom)
		k.line([]point{at, p.at(v, p.top)}, line)
		k.text(point{at.x, at.y + 15}, small, fmt.Sprintf("%.*f", decimalsOf(across), v))
	}
	up := ticks(p.bottom, p.top, mostUp)
	small.anchor = endAt
	for _, v := range up {
		at := p.at(p.left, v)
		k.line([]point{at, p.at(p.right, v)}, line)
		k.text(point{at.x - 6, at.y + 4}, small, fmt.Sprintf("%.*f", decimalsOf(up), v+0)) // -0 would print its sign
	}
}

func (p plane) border(k canvas) {
	outline := rectangle(p.x, p.y, p.width, p.height)
	k.line(append(outline, outline[0]), pen{colour: solid(0x333333), width: 1})
}

// wetness is one of the three states that are drawn.
type wetness struct {
	name string
	mean float64
	pen  pen
}

func (z ProfilePicture) wetnesses() [3]wetness {
	return [3]wetness{
		{"container capacity", z.Profile.ContainerCapacity(), pen{colour: solid(black), width: 2, dash: []float64{7, 4}}},
		{"full point", z.Band.FullPoint, pen{colour: solid(blue), width: 2.5}},
		{"refill point", z.Band.RefillPoint, pen{colour: solid(vermillion), width: 2.5, dash: []float64{10, 3, 2, 3}}},
	}
}

func (z ProfilePicture) heading(k canvas) {
	p := z.Profile
	k.text(point{24, 30}, font{colour: solid(black), size: 18, bold: true}, z.Title)
	k.text(point{24, 50}, font{colour: solid(0x333333), size: 12.5}, fmt.Sprintf("%s: %.0f mL, %.4g cm high, total porosity %.3f", p, p.VolumeML(), p.Container().HeightCM, p.TotalPorosity()))
	x := 24.0
	for _, w := range z.wetnesses() {
		k.line([]point{{x, 72}, {x + 34, 72}}, w.pen)
		label := fmt.Sprintf("%s %.3f", w.name, w.mean)
		k.text(point{x + 40, 76}, font{colour: solid(black), size: 12}, label)
		x += 58 + 6.2*float64(len(label))
	}
	k.area(rectangle(x, 65, 26, 13), colour{sky, 0.35})
	k.text(point{x + 32, 76}, font{colour: solid(black), size: 12}, "band")
	x += 82
	hatch(k, x, 65, 26, 13, 6, tooWetPen)
	k.text(point{x + 32, 76}, font{colour: solid(black), size: 12}, fmt.Sprintf("under %.2f air", z.Aeration.CriticalAirFilledPorosity))
}

// tooWetPen hatches where air is short, solidsPen where there are no pores.
var (
	tooWetPen = pen{colour: colour{vermillion, 0.55}, width: 1}
	solidsPen = pen{colour: colour{grey, 0.55}, width: 1}
)

// curve is the water content by height at a mean, as points of a panel.
func (z ProfilePicture) curve(f plane, mean float64) []point {
	const steps = 120
	points := make([]point, 0, steps+1)
	for i := range steps + 1 {
		h := f.top * float64(i) / steps
		points = append(points, f.at(z.Profile.WaterContentAt(mean, h), h))
	}
	return points
}

// drawProfiles is the large panel: the three curves over each other.
func (z ProfilePicture) drawProfiles(k canvas, marks []probeMark) {
	f := plane{x: 64, y: profileTop, width: 400, height: profileTall, left: 0, right: 1, bottom: 0, top: z.Profile.Container().HeightCM}
	states := z.wetnesses()
	pores, airy := z.Profile.TotalPorosity(), z.Profile.TotalPorosity()-z.Aeration.CriticalAirFilledPorosity
	k.area(append(z.curve(f, z.Band.RefillPoint), reversed(z.curve(f, z.Band.FullPoint))...), colour{sky, 0.35})
	f.grid(k, 10, 8)
	box := func(from, to float64, p pen) {
		a, b := f.at(from, f.top), f.at(to, f.top)
		hatch(k, a.x, a.y, b.x-a.x, f.height, 7, p)
	}
	box(math.Max(0, airy), pores, pen{colour: colour{vermillion, 0.3}, width: 1})
	box(pores, 1, solidsPen)
	k.line([]point{f.at(pores, 0), f.at(pores, f.top)}, pen{colour: solid(grey), width: 1.5})
	k.line([]point{f.at(airy, 0), f.at(airy, f.top)}, pen{colour: solid(vermillion), width: 1, dash: []float64{2, 3}})
	for _, i := range []int{1, 2, 0} { // capacity last: where it is the full point, its dashes lie on top
		k.hint(fmt.Sprintf("water content by height at %s %.3f", states[i].name, states[i].mean))
		k.line(z.curve(f, states[i].mean), states[i].pen)
	}
	k.hint("")
	drawProbeMarks(k, f, marks)
	f.border(k)
	label := font{colour: solid(black), size: 12}
	k.text(point{24, f.y - 10}, label, "height above the bottom, cm")
	label.anchor = middleAt
	k.text(point{f.x + f.width/2, f.y + f.height + 34}, label, "water content by height, m3/m3 (hatched grey: solids)")
}

func reversed(points []point) []point {
	out := make([]point, len(points))
	for i, p := range points {
		out[len(points)-1-i] = p
	}
	return out
}
