package simulator

import (
	"fmt"
	"math"
)

// Container is the shape of a pot, bag or slab, cm inside, at the top of the
// fill and at the bottom. Round when TopDiameterCM is set, else rectangular,
// with straight walls when no bottom is given.
type Container struct {
	HeightCM                        float64 // of the fill
	TopDiameterCM, BottomDiameterCM float64
	LengthCM, WidthCM               float64
	BottomLengthCM, BottomWidthCM   float64
}

func (c Container) check() error {
	round := c.TopDiameterCM > 0 && c.BottomDiameterCM > 0
	if !(c.HeightCM >= 2 && c.HeightCM <= 60) || !round && !(c.LengthCM > 0 && c.WidthCM > 0) {
		return fmt.Errorf("container %+v: expected a fill of 2 to 60 cm and either two diameters or length and width", c)
	}
	return nil
}

// area is the cross-section at a height, cm2.
func (c Container) area(z float64) float64 {
	x := z / c.HeightCM
	if c.TopDiameterCM > 0 {
		d := c.BottomDiameterCM + (c.TopDiameterCM-c.BottomDiameterCM)*x
		return math.Pi / 4 * d * d
	}
	length, width := c.LengthCM, c.WidthCM
	if c.BottomLengthCM > 0 {
		length = c.BottomLengthCM + (c.LengthCM-c.BottomLengthCM)*x
	}
	if c.BottomWidthCM > 0 {
		width = c.BottomWidthCM + (c.WidthCM-c.BottomWidthCM)*x
	}
	return length * width
}

// volume is what lies below a height, cm3: Simpson's rule, exact because the
// area is at most quadratic.
func (c Container) volume(z float64) float64 {
	return z / 6 * (c.area(0) + 4*c.area(z/2) + c.area(z))
}

// VolumeML is the volume of the fill, mL.
func (c Container) VolumeML() float64 { return c.volume(c.HeightCM) }

// layers is the number of layers of a container, from the bottom up.
const layers = 14

// grid is a container cut into layers that are thinner toward the bottom,
// where the water content bends most.
type grid struct {
	edge   [layers + 1]float64 // height, cm
	middle [layers]float64     // height, cm
	volume [layers]float64     // cm3
	area   [layers + 1]float64 // at the edges, cm2
	total  float64             // cm3
}

func newGrid(c Container) *grid {
	g := &grid{total: c.VolumeML()}
	for i := range g.edge {
		g.edge[i] = c.HeightCM * math.Pow(float64(i)/layers, 1.4)
		g.area[i] = c.area(g.edge[i])
	}
	for i := range g.middle {
		g.middle[i] = (g.edge[i] + g.edge[i+1]) / 2
		g.volume[i] = c.volume(g.edge[i+1]) - c.volume(g.edge[i])
	}
	return g
}
