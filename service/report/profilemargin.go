package report

import (
	"fmt"
	"math"
)

// warmths are the root-zone temperatures of the margin's curves, Cel.
var warmths = [...]struct {
	cel float64
	pen pen
}{
	{10, pen{colour: solid(blue), width: 2, dash: []float64{2, 3}}},
	{20, pen{colour: solid(black), width: 2.2}},
	{30, pen{colour: solid(vermillion), width: 2, dash: []float64{9, 4}}},
}

// drawMargin is the panel of the aeration margin by mean water content.
func (z ProfilePicture) drawMargin(k canvas) {
	p := z.Profile
	e := p.Aerate(z.Aeration)
	from := math.Max(p.MinMean(), math.Floor(10*math.Min(z.Band.RefillPoint, e.SaturationPoint()-0.2))/10)
	f := plane{x: 64, y: 602, width: 640, height: 186, left: math.Max(0, from), right: p.MaxMean(), bottom: -1, top: 1}
	label := font{colour: solid(black), size: 12}
	k.text(point{24, f.y - 12}, label, "aeration margin: towards 1 open, 0 critical, below 0 short of oxygen")
	low, high := f.at(math.Max(z.Band.RefillPoint, f.left), 1), f.at(z.Band.FullPoint, -1)
	k.area(rectangle(low.x, low.y, high.x-low.x, high.y-low.y), colour{sky, 0.35})
	f.grid(k, 10, 4)
	k.line([]point{f.at(f.left, 0), f.at(f.right, 0)}, pen{colour: solid(0x333333), width: 1.2})
	capacity := p.ContainerCapacity()
	k.line([]point{f.at(capacity, -1), f.at(capacity, 1)}, pen{colour: solid(black), width: 1.5, dash: []float64{7, 4}})
	for i, t := range warmths {
		const steps = 240
		points := make([]point, 0, steps+1)
		for j := range steps + 1 {
			mean := f.left + (f.right-f.left)*float64(j)/steps
			points = append(points, f.at(mean, e.Margin(mean, t.cel)))
		}
		k.hint(fmt.Sprintf("aeration margin at %.0f Cel", t.cel))
		k.line(points, t.pen)
		k.hint("")
		y := f.y + 20 + 22*float64(i)
		k.line([]point{{724, y - 4}, {758, y - 4}}, t.pen)
		k.text(point{764, y}, label, fmt.Sprintf("root zone at %.0f Cel", t.cel))
	}
	f.border(k)
	z.marginWords(k, f)
	label.anchor = middleAt
	k.text(point{f.x + f.width/2, f.y + f.height + 34}, label, "mean water content of the container, m3/m3")
}

// marginWords explain the other marks of the panel.
func (z ProfilePicture) marginWords(k canvas, f plane) {
	label := font{colour: solid(black), size: 12}
	k.area(rectangle(724, f.y+81, 34, 13), colour{sky, 0.35})
	k.text(point{764, f.y + 92}, label, "band")
	k.line([]point{{724, f.y + 110}, {758, f.y + 110}}, pen{colour: solid(black), width: 1.5, dash: []float64{7, 4}})
	k.text(point{764, f.y + 114}, label, "container capacity")
	for i, s := range []string{
		fmt.Sprintf("saturated above %.3f: under %.2f air", z.Profile.SaturationPoint(z.Aeration), z.Aeration.CriticalAirFilledPorosity),
		fmt.Sprintf("in more than %.0f %% of the volume", 100*z.Aeration.ToleratedShare),
	} {
		k.text(point{724, f.y + 144 + 16*float64(i)}, font{colour: solid(0x333333), size: 11.5}, s)
	}
}
