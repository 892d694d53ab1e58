package diagnose

import (
	"math"
	"testing"
)

// A container that behaves like another than is told is doubted, with the volume that it behaves
// like: by what was given and did not drain against what the water content made of it, or where
// nobody tells of drain by shots that lift it more than they can. What probes see of the whole
// container differs by half and more, and a tray that nobody emptied says nothing.
func TestAContainerOfAnotherSize(t *testing.T) {
	const told = 7000.0
	for name, c := range map[string]struct {
		size    float64 // of the container over that told
		gain    float64 // of its probes
		drained float64 // share of the water given
		drains  bool    // somebody tells of it
		code    string
	}{
		"as told":                             {1, 1, 0.1, true, ""},
		"as told, its probes see much":        {1, 1.5, 0.1, true, ""},
		"as told, its probes see little":      {1, 0.65, 0.1, true, ""},
		"a third of it":                       {1. / 3, 1, 0.1, true, "container-smaller"},
		"a third, and nobody tells of drain":  {1. / 3, 1, 0.1, false, "container-smaller"},
		"thrice":                              {3, 1, 0.1, true, "container-larger"},
		"thrice, and nobody tells of drain":   {3, 1, 0.1, false, ""},
		"as told, and the gauge catches none": {1, 1, 0, true, ""},
	} {
		m, in := &Memory{}, inputs()
		in.VolumeML, in.Learned.Gain = told, 1 // the balance has not found out
		given, sees := 900.0, c.gain/c.size
		if name == "as told, and the gauge catches none" {
			sees = 0.5 // half of it drains unseen
		}
		for day := range 6 {
			f := Features{Hours: 24}
			f.set(Rise, math.Log(0.93*sees), 0.1)
			in.Water.Reports, in.Water.DrainTold, in.Water.GivenML24h, in.Water.Drain24hML = true, c.drains, given, c.drained*given
			in.Learned.UptakeML24h = given * (1 - c.drained) * sees
			begin := in.WaterContent
			in.WaterContent += 0.01 * float64(1-2*(day%2)) * sees
			in.Water.GivenML24h += 0.01 * float64(1-2*(day%2)) * told
			m.Size.day(&f, in, begin)
		}
		said, doubted := m.SayVolume(told)
		if said.Code != c.code || doubted != (c.code != "") {
			t.Errorf("%s: %q; expected %q; %+v", name, said.Text, c.code, m.Size)
		}
		if x, _ := m.Size.times(told); c.code != "" && math.Abs(math.Log(x/c.size)) > 0.15 {
			t.Errorf("%s: it behaves like %.2f times the volume, and is %.2f", name, x, c.size)
		}
	}
}
