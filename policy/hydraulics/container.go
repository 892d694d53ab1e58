package hydraulics

import "math"

// Wall is what a container's side is made of. It changes nothing in the
// profile: what fabric and air-pruning walls let evaporate or drain through
// their sides depends on the air around them, no published number for it was
// found, and the engine learns it as uptake and drain of the zone.
type Wall string

// The walls.
const (
	Solid      Wall = "solid"
	Fabric     Wall = "fabric"
	AirPruning Wall = "air-pruning"
)

// Container is a shape: round (diameters) or rectangular (length and width,
// with the bottom's own where it tapers). Slabs and bags are rectangular. All
// measures are inner ones of the fill, cm: its height, and its width at its top
// and bottom. It tapers evenly in between. The bottom drains freely.
type Container struct {
	Name             string
	HeightCM         float64
	TopDiameterCM    float64
	BottomDiameterCM float64
	LengthCM         float64
	WidthCM          float64
	BottomLengthCM   float64 // 0: LengthCM
	BottomWidthCM    float64 // 0: WidthCM
	Wall             Wall
}

// The sizes that Validate takes, cm.
const (
	minHeightCM, maxHeightCM = 1.0, 100.0
	minWidthCM, maxWidthCM   = 0.5, 300.0
	maxTaper                 = 5.0 // widest over narrowest end
)

// Validate returns what is wrong with the shape, all at once, each as a
// *FieldError whose field is the key of the site file, or nil.
func (c Container) Validate() error {
	var f faults
	f.check(within(c.HeightCM, minHeightCM, maxHeightCM), "height_cm", "%.4g is outside %g to %g cm; expected the height of the fill, from the container's bottom to the substrate's surface", c.HeightCM, minHeightCM, maxHeightCM)
	round := c.TopDiameterCM != 0 || c.BottomDiameterCM != 0
	rectangular := c.LengthCM != 0 || c.WidthCM != 0 || c.BottomLengthCM != 0 || c.BottomWidthCM != 0
	switch {
	case round && rectangular:
		f.check(false, "top_diameter_cm", "stands beside length_cm or width_cm; expected either the diameters of a round container or the length and width of a rectangular one")
	case rectangular:
		f.sides("length_cm", c.LengthCM, "bottom_length_cm", orSame(c.BottomLengthCM, c.LengthCM))
		f.sides("width_cm", c.WidthCM, "bottom_width_cm", orSame(c.BottomWidthCM, c.WidthCM))
	default:
		f.sides("top_diameter_cm", c.TopDiameterCM, "bottom_diameter_cm", c.BottomDiameterCM)
	}
	switch c.Wall {
	case Solid, Fabric, AirPruning, "":
	default:
		f.check(false, "wall", "%q is no wall; expected solid, fabric or air-pruning; leave it out for solid", string(c.Wall))
	}
	return f.err()
}

// sides checks one dimension at top and bottom.
func (f *faults) sides(topKey string, top float64, bottomKey string, bottom float64) {
	before := len(f.list)
	f.check(within(top, minWidthCM, maxWidthCM), topKey, "%.4g is outside %g to %g cm; expected the inner size at the substrate's surface", top, minWidthCM, maxWidthCM)
	f.check(within(bottom, minWidthCM, maxWidthCM), bottomKey, "%.4g is outside %g to %g cm; expected the inner size at the bottom", bottom, minWidthCM, maxWidthCM)
	if len(f.list) == before {
		f.check(math.Max(top, bottom) <= maxTaper*math.Min(top, bottom), bottomKey, "%.4g beside %s %.4g tapers more than %g to 1; expected sizes of the same container in cm", bottom, topKey, top, maxTaper)
	}
}

// orSame is x, or y where x was not told.
func orSame(x, y float64) float64 {
	if x == 0 {
		return y
	}
	return x
}

// area is the cross-section by height as a polynomial, cm2, z in cm above the
// bottom: a[0] + a[1] z + a[2] z2.
//
//	round:        (pi/4) [Db + (Dt - Db) z/H]^2
//	rectangular:  [Lb + (Lt - Lb) z/H] [Wb + (Wt - Wb) z/H]
func (c Container) area() [3]float64 {
	a, b, k := c.TopDiameterCM, c.BottomDiameterCM, math.Pi/4
	w, v := a, b
	if c.LengthCM != 0 {
		a, b, k = c.LengthCM, orSame(c.BottomLengthCM, c.LengthCM), 1
		w, v = c.WidthCM, orSame(c.BottomWidthCM, c.WidthCM)
	}
	p, q := (a-b)/c.HeightCM, (w-v)/c.HeightCM
	return [3]float64{k * b * v, k * (b*q + v*p), k * p * q}
}

// AreaCM2 returns the cross-section at a height above the bottom, cm2. Height
// in cm; outside 0 to HeightCM, that of the nearer end.
func (c Container) AreaCM2(heightCM float64) float64 {
	z := math.Min(math.Max(heightCM, 0), c.HeightCM)
	a := c.area()
	return a[0] + z*(a[1]+z*a[2])
}

// VolumeML returns the volume of the fill, mL.
func (c Container) VolumeML() float64 { return polyIntegral(c.area(), c.HeightCM) }

// MeanHeightCM returns the volume-weighted mean height above the bottom, cm:
// half the height for straight sides, more where the top is wider.
func (c Container) MeanHeightCM() float64 {
	a, h := c.area(), c.HeightCM
	return h * h * (a[0]/2 + h*(a[1]/3+h*a[2]/4)) / c.VolumeML()
}
