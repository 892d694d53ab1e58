package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A container that stood low and is filled holds no more than it ever could: its level
// rises as it does where water stands. One that comes to rest at what it holds by the
// physics, or that was full all along, by its drainage or by what it is known to hold,
// has come to hold more.
func TestAContainerThatIsFilledHoldsNoMore(t *testing.T) {
	for _, c := range []struct {
		name                string
		drained, atCapacity bool
		holds               float64 // by the physics, above where water usually rests, m3/m3
		up                  float64 // m3/m3
		cause               Cause   // causeCount: neither
	}{
		{"filled", false, false, 0.12, 0.1, causeCount},
		{"filled to a little above what the physics let it hold", false, false, 0.08, 0.1, causeCount},
		{"stands above what the physics let it hold", false, false, 0, 0.1, Oversaturation},
		{"drained before", true, false, 0.12, 0.1, Oversaturation},
		{"was full as it is known", false, true, 0.12, 0.1, Oversaturation},
		{"drained before, and stands a little higher", true, false, 0.12, 0.04, Compaction},
		{"was full as it is known, and stands a little higher", false, true, 0.12, 0.04, Compaction},
		{"a little less empty", false, false, 0.12, 0.04, causeCount},
	} {
		n, told := 0, 0
		for seed := range uint64(10) {
			r := rand.New(rand.NewPCG(seed, 7))
			m, at := &Memory{}, start
			for day := range 17 {
				at += dayMs
				f := Features{Hours: 24, UptakeML: 900, Enough: true, AtCapacity: c.atCapacity, Holds: usual[Rest] + c.holds}
				for k, v := range usual {
					if (k == Plateau || k == Drained || k == Account || k == DrainTime) && !c.drained {
						continue
					}
					v += noise(k, r)
					if day >= 14 && (k == Peak || k == Rest || k == Plateau) {
						v += c.up
					}
					f.set(k, v, 0.25*floors[k])
				}
				m.Belief.fade(at)
				m.Baselines.weigh(&f, &m.Belief, at)
			}
			m.Belief.fade(at + 5*hourMs)
			found := m.Findings(at+5*hourMs, words)
			if len(found) == 0 {
				continue
			}
			if found[0].Cause == Oversaturation.String() || found[0].Cause == Compaction.String() {
				n++
				if !says(found[0].Evidence, "level-at-rest") {
					t.Errorf("%s: says %+v", c.name, found[0].Evidence)
				}
			}
			if c.cause < causeCount && found[0].Cause == c.cause.String() {
				told++
			}
		}
		if c.cause < causeCount && told < 8 || c.cause == causeCount && n > 0 {
			t.Errorf("%s: said that it holds more in %d of 10, the right cause in %d", c.name, n, told)
		}
	}
}

// Water at rest in a container that is filled every day is as steady as anything that is
// measured: where it comes to stand higher for two days, by less than a day's highest level
// strays, that is no chance.
func TestALevelAtRestIsSteady(t *testing.T) {
	for up, alarms := range map[float64]bool{0.03: true, 0.008: false} {
		told := 0
		for seed := range uint64(10) {
			m, at := play(seed, 14, 2, map[Feature]float64{Rest: up, Plateau: up, Peak: up})
			if f := m.Findings(at, words); len(f) > 0 && (f[0].Cause == Compaction.String() || f[0].Cause == Oversaturation.String()) {
				told++
			}
		}
		if alarms && told < 8 || !alarms && told > 0 {
			t.Errorf("stands %.3f m3/m3 higher: told of in %d zones of 10", up, told)
		}
	}
}

// A level to which a plan in force brought the zone says nothing of what its container holds; what
// lies above that does.
func TestWhereAPlanBringsAZoneHoldsNoMore(t *testing.T) {
	for _, c := range []struct {
		name  string
		asked float64 // m3/m3 above where water usually rests
		holds bool
	}{{"no plan", -1, true}, {"a plan that aims as before", 0, true}, {"a plan that aims higher", 0.04, false}} {
		told := 0
		for seed := range uint64(10) {
			r := rand.New(rand.NewPCG(seed, 8))
			m, at := &Memory{}, start
			for day := range 17 {
				at += dayMs
				f := Features{Hours: 24, UptakeML: 900, Enough: true, AtCapacity: true, Holds: 0.7}
				if c.asked >= 0 {
					f.Asked, f.AskedPeak = usual[Rest], usual[Peak]
				}
				for k, v := range usual {
					v += noise(k, r)
					if day >= 14 && (k == Peak || k == Rest || k == Plateau) {
						v += 0.04
					}
					f.set(k, v, 0.25*floors[k])
				}
				if day >= 14 && c.asked > 0 {
					f.Asked, f.AskedPeak = usual[Rest]+c.asked, usual[Peak]+c.asked
				}
				m.Belief.fade(at)
				m.Baselines.weigh(&f, &m.Belief, at)
			}
			m.Belief.fade(at + 5*hourMs)
			found := m.Findings(at+5*hourMs, words)
			if len(found) > 0 && (found[0].Cause == Compaction.String() || found[0].Cause == Oversaturation.String()) {
				told++
			}
		}
		if c.holds && told < 8 || !c.holds && told > 0 {
			t.Errorf("%s: said that it holds more in %d of 10", c.name, told)
		}
	}
}

// What a plan aimed at counts on the next day, too, though no plan is in force then: its water
// is still there.
func TestWhatAPlanAimedAtStaysForADay(t *testing.T) {
	m, at := &Memory{}, start
	in := inputs()
	day := func(target float64) Features {
		in.Water.Target, in.Water.ShotRise = target, 0.02
		for range 288 {
			at += 5 * 60_000
			m.Today.look(in, at)
		}
		f := m.Today.finish(in)
		m.Day(in, at)
		return f
	}
	for i, c := range []struct{ target, rest, peak float64 }{{0, 0, 0}, {0.6, 0.6, 0.62}, {0, 0.6, 0.62}, {0.5, 0.5, 0.52}, {0, 0.5, 0.52}, {0, 0, 0}} {
		f := day(c.target)
		if math.Abs(f.Asked-c.rest) > 1e-6 || math.Abs(f.AskedPeak-c.peak) > 1e-6 {
			t.Errorf("day %d: asked for %.2f, peaks of %.2f; want %.2f, %.2f", i, f.Asked, f.AskedPeak, c.rest, c.peak)
		}
	}
}
