package diagnose

import "testing"

// A container that gets no water does not answer to shots and parts from the others as
// its crop drinks. One whose probe does not answer while the whole zone dries at the same
// pace, as where water runs past dry substrate, is not told; and what was told stands
// while nothing falls.
func TestAContainerThatIsCutOff(t *testing.T) {
	for _, c := range []struct {
		name   string
		answer float64 // of a shot's rise, at the one probe
		dries  float64 // of what is drunk, not made up for at the others
		night  int     // hours without a shot or drinking afterwards
		told   bool
	}{
		{"well", 1, 0, 0, false},
		{"cut off", 0, 0, 0, true},
		{"cut off, a day later", 0, 0, 24, true},
		{"the zone dries", 0, 1, 0, false},
	} {
		m, at := known()
		in := inputs()
		in.ProbeCount, in.Learned.Uptake5ML = 2, 7
		level := [2]float64{0.55, 0.55}
		play := func(hours int, answer, dries float64, night bool) {
			if night {
				in.Learned.Uptake5ML = 0.01
			}
			for look := range hours * 12 {
				at += 5 * 60_000
				for i := range level {
					switch {
					case night:
					case look%36 == 5 && i == 0:
						level[i] += answer * 252 / in.VolumeML
					case look%36 == 5:
						level[i] += 252 / in.VolumeML
					}
					if !night {
						level[i] -= 7 / in.VolumeML
					}
					if i == 1 && look%36 == 14 && !night { // by then the shot has been judged
						level[i] -= dries * 252 / in.VolumeML
					}
					in.Probes[i] = Probe{Heard: true, Mean: level[i] + 0.0003*float64((look+i)%3), AtMs: at}
				}
				if look%36 == 5 && !night {
					in.Water.ReportedML += 252
					in.Water.TotalML += 252
					in.Water.LastMs, in.Water.LastShotMs = at, at
				}
				in.WaterContent = (level[0] + level[1]) / 2
				m.Look(in, at)
			}
		}
		play(36, 1, 0, false)
		play(15, c.answer, c.dries, false)
		play(c.night, 0, 0, true)
		f := m.Findings(at, words)
		told := m.Fast.WorstProbe == 1
		if c.told {
			told = len(f) > 0 && f[0].Cause == EmitterFault.String() && says(f[0].Evidence, "probe-answers-less")
		}
		if own := m.Belief.LogOdds[EdgeChannelling]; c.told && own > 5 {
			t.Errorf("%s: what one container does not get speaks for a gap in all: %g", c.name, own)
		}
		if told != c.told {
			t.Errorf("%s: %+v; %+v", c.name, f, *m.Fast.Probes.At(0))
		}
	}
}

// What was told of a container stands, with its reason, until its probe answers again.
func TestACutOffContainerStandsUntilItAnswers(t *testing.T) {
	m, at := known()
	m.Belief.LogOdds[EmitterFault] = 8
	m.Belief.settle(at)
	m.Belief.settle(at + EmitterFault.patience())
	for _, c := range []struct {
		odds, recent float32
		told         bool
	}{{5, 0.1, true}, {5, 0.9, false}, {-1, 0.1, false}} {
		*m.Fast.Probes.At(1) = ProbeWatch{Odds: c.odds, Usual: 1, Recent: c.recent}
		if told := len(m.Findings(at, words)) > 0; told != c.told {
			t.Errorf("log odds %g, rises by %g of the usual: told %v", c.odds, c.recent, told)
		}
	}
}

// A container that gets no water parts from the others before many shots have said so: few
// shots and a fall that no sound container makes tell it together, neither by itself.
func TestAFallTellsBesideFewShots(t *testing.T) {
	for name, c := range map[string]struct {
		odds, recent float32
		fellMore     float64
		tells        bool
	}{
		"few shots and a deep fall":        {1.2, 0.1, 0.045, true},
		"few shots and a fall of a day":    {1.2, 0.1, 0.025, false},
		"more shots and a fall of a day":   {3.8, 0.1, 0.025, true},
		"many shots and hardly a fall":     {6, 0.1, 0.015, false},
		"no shots and a deep fall":         {0.5, 0.1, 0.1, false},
		"few shots, and it answers partly": {1.2, 0.4, 0.1, false},
	} {
		w := &ProbeWatch{Usual: 1, Recent: c.recent, Odds: c.odds, High: 0.6}
		emitter, sensor := w.weigh(&Probe{Mean: 0.5}, c.fellMore, false, false)
		if (emitter > 2) != c.tells || sensor != 0 {
			t.Errorf("%s: log odds of an emitter fault %.1f, of a sensor fault %.1f", name, emitter, sensor)
		}
	}
}
