package diagnose

import (
	"math"
	"testing"

	"rhizostat/policy/sensing"
)

// A coarse probe beside a finer one. What the balance believes of the water does not make it
// stuck where its neighbour stood still as well; one that says the very same while its neighbour
// rises and falls by more than its step is.
func TestStuckBesideOthers(t *testing.T) {
	for _, c := range []struct {
		name         string
		stuck, moves bool
		wet          bool // the probe stands under water: its container shows neither
		told         bool
	}{
		{"well", false, true, false, false},
		{"stuck", true, true, false, true},
		{"both stand still, and the balance has it that water came", true, false, false, false},
		{"under water", true, true, true, true}, // by the balance alone
	} {
		f, in := &Fast{}, inputs()
		in.ProbeCount, in.Learned.Uptake5ML = 2, 10
		if c.wet {
			in.SaturationPoint = 0.5
		}
		at, level := int64(1_700_000_000_000), 0.55
		var shown [2]float64
		for look := range 96 * 12 {
			at += 5 * 60_000
			late := look >= 48*12
			if look%72 == 5 { // every six hours what was drunk is given, 0.03 m3/m3
				in.Water.TotalML += 720
				if c.moves || !late {
					level += 720 / in.VolumeML
				}
			}
			if c.moves || !late {
				level -= 10 / in.VolumeML
			}
			if !c.stuck || !late {
				shown[0] = float64(int(level/0.01)) * 0.01
			}
			shown[1] = level + 0.0004*float64(look%3)
			for i := range shown {
				in.Probes[i] = Probe{Heard: true, Health: sensing.OK, Mean: shown[i], AtMs: at}
			}
			f.still(in, &Baselines{})
		}
		s := f.Recently.Still.At(0)
		if s.dead() != c.told || s.frozen() != c.told || c.stuck && s.Others.Known == c.wet {
			t.Errorf("%s: dead %v, frozen %v; %+v", c.name, s.dead(), s.frozen(), *s)
		}
	}
}

// Others count a rise or a fall once it is as long as a leg, from where they turned.
func TestOthersCountLegs(t *testing.T) {
	for _, c := range []struct {
		name         string
		changes      []float32
		share, step  float32
		rises, falls uint8
	}{
		{"noise", []float32{0.004, -0.004, 0.004, -0.004}, 1, 0.001, 0, 0},
		{"a rise and its fall", []float32{0.02, -0.02}, 1, 0.001, 1, 1},
		{"a rise in parts", []float32{0.005, 0.005, 0.005}, 1, 0.001, 1, 0},
		{"a long fall is one", []float32{-0.02, -0.02, -0.02}, 1, 0.001, 0, 1},
		{"a coarse probe may miss it", []float32{0.014, -0.014}, 1, 0.01, 0, 0},
		{"a deep probe shows a half of it", []float32{0.02, -0.02}, 0.5, 0.001, 0, 0},
		{"twice", []float32{0.02, -0.02, 0.02, -0.02}, 1, 0.01, 2, 2},
	} {
		var o Others
		for _, x := range c.changes {
			o.take(x, c.share, c.step)
		}
		if o.Rises != c.rises || o.Falls != c.falls {
			t.Errorf("%s: %d rises and %d falls; %d and %d expected", c.name, o.Rises, o.Falls, c.rises, c.falls)
		}
	}
}

// What a neighbour does in steps too small to end its stillness counts once: neither what it
// falls by slowly, nor what lies beside what it said before, adds up with every look.
func TestSmallChangesOfOthersCountOnce(t *testing.T) {
	for name, level := range map[string]func(look int) float64{
		"a slow fall":          func(look int) float64 { return 0.55 - 0.0001*float64(look) },
		"another offset":       func(look int) float64 { return 0.55 + 0.0002*float64(min(look, 1)) },
		"an offset, and steps": func(look int) float64 { return 0.55 + 0.0002*float64(look%7) - 0.01*float64(look/50) },
	} {
		f, in := &Fast{}, inputs()
		in.ProbeCount = 2
		at := int64(1_700_000_000_000)
		for look := range 240 {
			at += 5 * 60_000
			in.Probes[0] = Probe{Heard: true, Health: sensing.OK, Mean: 0.5, AtMs: at}
			in.Probes[1] = Probe{Heard: true, Health: sensing.OK, Mean: level(look), AtMs: at}
			f.still(in, &Baselines{})
		}
		got, want := float64(f.Recently.Still.At(0).Others.Level)*levelStep, level(239)-level(0)
		if math.Abs(got-want) > 0.0005 {
			t.Errorf("%s: the other probe went by %.4f m3/m3, and %.4f is held against this one", name, want, got)
		}
	}
}
