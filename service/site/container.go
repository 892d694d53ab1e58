package site

import (
	"strings"

	"rhizostat/policy/hydraulics"
)

var (
	roundKeys       = []string{"top_diameter_cm", "bottom_diameter_cm"}
	rectangularKeys = []string{"length_cm", "width_cm", "bottom_length_cm", "bottom_width_cm"}
)

// container reads one entry of containers.
func (b *builder) container(v *value) (hydraulics.Container, bool) {
	c := hydraulics.Container{Name: v.name, HeightCM: v.field("height_cm").number, Wall: hydraulics.Wall(v.field("wall").text)}
	round, rectangular := v.any(roundKeys...), v.any(rectangularKeys...)
	const either = "top_diameter_cm of a round container, or length_cm and width_cm of a rectangular one"
	var needed []string
	switch {
	case round && rectangular:
		b.say(v, "both diameters and length or width are given", either, "keep those of the container's shape")
	case round:
		needed = roundKeys[:1]
	case rectangular:
		needed = rectangularKeys[:2]
	default:
		b.say(v, "the container has no width", either, "")
	}
	var missing []string
	for _, name := range needed {
		if v.field(name).node == nil {
			missing = append(missing, name)
		}
	}
	if missing != nil {
		b.say(v, strings.Join(missing, " and ")+" missing", either, "")
	}
	if !v.sound() {
		return c, false
	}
	if round {
		c.TopDiameterCM = v.field("top_diameter_cm").number
		c.BottomDiameterCM = c.TopDiameterCM
		if bottom := v.field("bottom_diameter_cm"); bottom.given() {
			c.BottomDiameterCM = bottom.number
		}
	} else {
		c.LengthCM, c.WidthCM = v.field("length_cm").number, v.field("width_cm").number
		c.BottomLengthCM, c.BottomWidthCM = v.field("bottom_length_cm").number, v.field("bottom_width_cm").number
	}
	if err := c.Validate(); err != nil {
		b.refuse(v, err)
		return c, false
	}
	return c, true
}
