package diagnose

import (
	"math"
	"testing"
)

// A day on which no drainage was seen says nothing of how fast water drains: the old
// value stands, and would speak against every cause that slows it.
func TestDrainTimeOfADayIsSeenOrUnknown(t *testing.T) {
	for _, c := range []struct {
		name    string
		learned float64 // ln s by which the belief moved in the day
		known   bool
	}{{"no drainage seen", 0, false}, {"drains slower", 0.3, true}} {
		var day Collector
		in, at := inputs(), start
		for look := range 288 {
			if look == 144 {
				in.Learned.DrainLog += c.learned
			}
			at += 5 * 60_000
			day.look(in, at)
		}
		if f := day.finish(in); f.Known[DrainTime] != c.known {
			t.Errorf("%s: known %v; expected %v", c.name, f.Known[DrainTime], c.known)
		}
	}
}

// The level at rest is the highest that stood 40 minutes after any water: what is still
// on its way down does not count, nor does what a shot lifts for a while.
func TestLevelAtRest(t *testing.T) {
	for _, c := range []struct {
		name         string
		every        int // looks between two shots
		known        bool
		rest, design float64
		holds, sd    float64
		atCapacity   bool
	}{
		{"drains between shots", 24, true, 0.55, 0.6, 0.6, 0.004, false},
		{"as full as it gets", 24, true, 0.55, 0.56, 0.6, 0.004, false},
		{"as full as it is known to get", 24, true, 0.55, 0.6, 0.555, 0.004, true},
		{"what it holds is not known", 24, true, 0.55, 0.6, 0.555, 0.03, false},
		{"shots in close succession", 6, false, 0, 0.5, 0.5, 0.004, false},
	} {
		var day Collector
		in, at := inputs(), start
		in.DesignCapacity, in.Learned.Capacity, in.Learned.CapacitySD = c.design, c.holds, c.sd
		for look := range 288 {
			at += 5 * 60_000
			since := look % c.every
			if since == 0 {
				in.Water.LastMs, in.Water.LastShotMs = at, at
			}
			in.WaterContent = 0.55
			if since < 8 {
				in.WaterContent = 0.63 // on its way down
			}
			day.look(in, at)
		}
		f := day.finish(in)
		if f.Known[Rest] != c.known || c.known && f.Value[Rest] != float32(c.rest) || f.Holds != c.design || f.AtCapacity != c.atCapacity {
			t.Errorf("%s: rest %v known %v, holds %v, at capacity %v", c.name, f.Value[Rest], f.Known[Rest], f.Holds, f.AtCapacity)
		}
	}
}

// A shot shows at the probes before it is reported, when its valve has closed: that is no
// fall of the water content that nobody drinks, nor a level at rest.
func TestWaterOnItsWayIsNoFall(t *testing.T) {
	const fall = 0.0004 // m3/m3 a look
	for _, early := range []int{0, 1, 3} {
		var day Collector
		in, at, level := inputs(), start, 0.6
		for look := range 288 {
			at += 5 * 60_000
			level -= fall
			if look%24 == 24-early || early == 0 && look%24 == 0 {
				level = 0.55 // it rises by what it fell since the last
			}
			if look%24 == 0 {
				in.Water.LastMs, in.Water.LastShotMs = at, at
			}
			if look < 24 {
				level = 0.55 - fall*float64(look)
			}
			in.WaterContent = level
			day.look(in, at)
		}
		f := day.finish(in)
		part := &day.Parts[afternoon]
		if got := float64(part.FallML) / (float64(part.Seconds) / 300 * fall * in.VolumeML); !f.Known[UptakeDay] || math.Abs(got-1) > 1e-3 {
			t.Errorf("seen %d looks before it is reported: a fall of %.3f of what was drunk, known %v", early, got, f.Known[UptakeDay])
		}
		if want := 0.55 - 9*fall; f.Value[Rest] > float32(want+1e-6) {
			t.Errorf("seen %d looks before it is reported: at rest at %.4f; expected at most %.4f", early, f.Value[Rest], want)
		}
	}
}
