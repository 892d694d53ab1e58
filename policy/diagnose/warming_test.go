package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The slope of readings that follow temperature is found, whatever its sign, and what
// is left of its doubt covers it.
func TestWarmingIsLearned(t *testing.T) {
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 7))
		slope, w := 0.002*r.NormFloat64(), Warming{}
		for range 60 {
			warmed := 4 * r.NormFloat64()
			perK, _ := w.perK()
			w.learn(warmed, (slope-perK)*warmed+0.003*r.NormFloat64(), 0.003)
		}
		got, sd := w.perK()
		if math.Abs(got-slope) > 2*sd {
			t.Errorf("seed %d: slope %.5f +- %.5f m3/m3 per K; it is %.5f", seed, got, sd, slope)
		}
	}
}

func TestWarmingKnowsNothingAtFirst(t *testing.T) {
	w := Warming{}
	if slope, sd := w.perK(); slope != 0 || sd != warmingSD {
		t.Errorf("slope %g +- %g; expected 0 +- %g", slope, sd, warmingSD)
	}
	for range 1000 {
		w.learn(10, 0.02, 0.001)
	}
	if _, sd := w.perK(); sd < warmingSure*(1-1e-9) {
		t.Errorf("standard deviation %g after 1000 judgements; expected at least %g", sd, warmingSure)
	}
}

// A wet zone whose seedlings drink next to nothing reads more by day and less by night,
// because its probes follow the temperature: by day it does not fall as its crop is
// expected to drink, and nobody is to look for a valve that leaks.
func TestReadingsThatFollowTheTemperature(t *testing.T) {
	m, at := play(3, 10, 0, nil)
	in := inputs()
	in.Water.LastMs, in.ProbeCount, in.Learned.Uptake5ML = at, 1, 4
	in.RootCel.Known = true
	level := in.Learned.Capacity
	for look := range 6 * 288 {
		at += 5 * 60_000
		hour := look / 12 % 24
		in.Daytime = hour < 12
		in.Learned.Uptake5ML = 2
		if in.Daytime {
			in.Learned.Uptake5ML = 4
		}
		level -= 0.5 * in.Learned.Uptake5ML / in.VolumeML // seedlings drink less than is expected
		if hour == 0 && look%12 == 0 {
			in.Water.ReportedML, in.Water.TotalML = in.Water.ReportedML+720, in.Water.TotalML+720
			in.Water.LastMs, in.Water.LastShotMs = at, at
			level = in.Learned.Capacity
		}
		in.RootCel.Value = 19 - 3*math.Cos(float64(look%288)/288*2*math.Pi)
		in.WaterContent = level + 0.002*(in.RootCel.Value-19)
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent, AtMs: at}
		m.Look(in, at)
		if c, p, _, wrong := m.Leading(); wrong && c == ValveStuckOpen {
			t.Fatalf("hour %d: %v with %.2f", look/12, c, p)
		}
	}
}

// A thermometer that falls silent, and another that steps in, warm nothing.
func TestThermometersThatComeAndGoWarmNothing(t *testing.T) {
	m, at := play(3, 10, 0, nil)
	in := inputs()
	in.Learned.Uptake5ML, in.ProbeCount = 4, 1
	for look := range 2 * 288 {
		at += 5 * 60_000
		in.RootCel, in.AirCel = Number{Value: 22, Known: look%40 < 20}, Number{Value: 12, Known: look%60 < 40}
		if look%72 == 0 {
			in.Water.LastMs, in.Water.LastShotMs = at, at
			in.WaterContent = in.Learned.Capacity
		}
		in.WaterContent -= in.Learned.Uptake5ML / in.VolumeML
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
		m.Look(in, at)
	}
	if w := m.Fast.Fall.Warming; w != (Warming{}) {
		t.Errorf("%+v was learned of temperatures that stood still", w)
	}
}
