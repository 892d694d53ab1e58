package diagnose

import (
	"math"
	"testing"

	"rhizostat/policy/sensing"
)

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

// A container that gets no water is drunk empty within days, and then its probe says the very
// same. That is no stuck probe: what was told of its emitter stands, whether or not the probe
// counts as stuck by itself.
func TestAContainerThatIsDrunkEmpty(t *testing.T) {
	for _, health := range []sensing.Health{sensing.Disagreeing, sensing.Stuck} {
		m, at := known()
		in := inputs()
		in.ProbeCount, in.Learned.Uptake5ML, in.RefillPoint, in.FullPoint = 2, 10, 0.45, 0.6
		level := [2]float64{0.55, 0.55}
		for look := range 9 * 24 * 12 {
			at += 5 * 60_000
			came := look%72 == 5
			for i := range level {
				level[i] -= 10 / in.VolumeML * math.Min(1, math.Max(0, (level[i]-0.18)/0.1))
				if came && (i == 1 || look < 60*12) {
					level[i] += 720 / in.VolumeML
				}
			}
			if came {
				in.Water.ReportedML += 720
				in.Water.TotalML += 720
				in.Water.LastMs, in.Water.LastShotMs = at, at
			}
			in.WaterContent = level[1]
			in.Probes[1] = Probe{Heard: true, Health: sensing.OK, Mean: level[1] + 0.0004*float64(look%3), AtMs: at}
			in.Probes[0] = Probe{Heard: true, Health: sensing.OK, Mean: math.Floor(level[0]/0.01) * 0.01, AtMs: at}
			switch {
			case look > 110*12:
				in.Probes[0].Health = health
			case level[0] < level[1]-0.1:
				in.Probes[0].Health = sensing.Disagreeing
			}
			m.Look(in, at)
			if hour := look / 12; look%12 == 0 && hour >= 90 {
				if c, p, _, wrong := m.Leading(); !wrong || c != EmitterFault {
					t.Fatalf("%v, %d h after the last water, at %.3f: %v %.2f, wrong %v", health, hour-60, level[0], c, p, wrong)
				}
			}
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
		odds, recent, last, drunk float32
		fellMore                  float64
		health                    sensing.Health
		tells                     bool
	}{
		"few shots and a deep fall":                       {1.2, 0.1, 0, 0.1, 0.045, sensing.OK, true},
		"few shots and a fall of a day":                   {1.2, 0.1, 0, 0.1, 0.025, sensing.OK, false},
		"more shots and a fall of a day":                  {3.8, 0.1, 0, 0.1, 0.025, sensing.OK, true},
		"many shots and hardly a fall":                    {6, 0.1, 0, 0.1, 0.015, sensing.OK, false},
		"many shots and the fall of a small plant":        {6, 0.1, 0, 0.02, 0.015, sensing.OK, true},
		"many shots and a fall that noise makes":          {6, 0.1, 0, 0.005, 0.006, sensing.OK, false},
		"no shots and a deep fall":                        {0.5, 0.1, 0, 0.1, 0.1, sensing.OK, false},
		"few shots, and it answers partly":                {1.2, 0.4, 0.4, 0.1, 0.1, sensing.OK, false},
		"one large shot, unanswered, and a deep fall":     {1.2, 0.6, 0, 0.1, 0.045, sensing.OK, true},
		"one large shot, unanswered by one that is moved": {1.2, 0.6, 0, 0.1, 0.045, sensing.Jumping, false},
	} {
		w := &ProbeWatch{Usual: 1, Recent: c.recent, Last: int8(lastSteps * c.last), Drunk: c.drunk, Odds: c.odds, High: 0.6}
		emitter, sensor := w.weigh(&Probe{Mean: 0.5, Health: c.health}, c.fellMore, false, false)
		if (emitter > 2) != c.tells || sensor != 0 {
			t.Errorf("%s: log odds of an emitter fault %.1f, of a sensor fault %.1f", name, emitter, sensor)
		}
	}
	dry := &ProbeWatch{Usual: 1, Odds: 6, High: 0.6, Drunk: 0.02, Parched: true}
	if emitter, _ := dry.weigh(&Probe{Mean: 0.5}, 0.015, false, false); emitter != 0 {
		t.Errorf("in dry substrate the fall of a small plant tells: log odds %.1f", emitter)
	}
}

// A container from which water is kept falls for as long as its plant takes, and where it stood
// beside the others is not forgotten meanwhile.
func TestASlowFallIsRemembered(t *testing.T) {
	f, in := &Fast{}, inputs()
	in.ProbeCount = 2
	at := int64(1_700_000_000_000)
	level := [2]float64{0.5, 0.5}
	for look := range 40 * 12 {
		at += 5 * 60_000
		level[0] -= 0.015 / 288
		for i := range level {
			in.Probes[i] = Probe{Heard: true, Mean: level[i], AtMs: at}
			w := f.Probes.At(i)
			w.High = max(w.High-0.0035*(w.High-float32(level[i])), float32(level[i]))
		}
		f.Probes.At(1)
		if f.Probes.At(0).Odds = -1; look > 0 {
			f.Probes.At(0).Odds = 0.5
		}
		f.fellMore(in, 0)
	}
	if fell := f.fellMore(in, 0); math.Abs(fell-(0.5-level[0])) > 0.001 {
		t.Errorf("it fell by %.4f in 40 h; %.4f is remembered", 0.5-level[0], fell)
	}
}

// playProbes lets two containers drink and be watered every so many looks; the first one's
// emitter and plant do so many times what the other's do. Water is reported, or only seen.
func playProbes(m *Memory, in *Inputs, at int64, hours, every int, shot, drinks, emitter, plant float64) int64 {
	for look := range hours * 12 {
		at += 5 * 60_000
		for i, water, thirst := 0, emitter, plant; i < 2; i, water, thirst = i+1, 1, 1 {
			p := &in.Probes[i]
			p.Mean -= thirst * drinks / in.VolumeML
			if look%every == every-1 {
				p.Mean += water * shot / in.VolumeML
			}
			p.Heard, p.AtMs = true, at
		}
		if look%every == every-1 {
			in.Water.LastShotMs = at
			if in.Water.Reports {
				in.Water.LastMs = at
				in.Water.ReportedML += shot
				in.Water.TotalML += shot
			}
		}
		in.WaterContent = (in.Probes[0].Mean + in.Probes[1].Mean) / 2
		m.Look(in, at)
	}
	return at
}

// When it is hot a crop drinks as much in the time of a round as a small shot brings. What is
// left of a sound container's rise may then be less than nothing where its neighbour's is a
// little above; one that gets no water is told all the same, and where water is not reported
// but seen, too.
func TestAnAnswerCountsWhatWasDrunkMeanwhile(t *testing.T) {
	for _, c := range []struct {
		name           string
		reports        bool
		emitter, plant float64
		told           bool
	}{
		{"a little less water, a thirstier plant", true, 0.93, 1.13, false},
		{"no water", true, 0, 1, true},
		{"no water, and nobody reports any", false, 0, 1, true},
		{"sound, and nobody reports any", false, 0.93, 1.13, false},
	} {
		m, at := known()
		in := inputs()
		in.ProbeCount, in.Learned.Uptake5ML = 2, 4
		in.Water.Reports = c.reports
		in.Probes[0].Mean, in.Probes[1].Mean = 0.5, 0.5
		at = playProbes(m, in, at, 60, 36, 144, 4, 1, 1)
		in.Learned.Uptake5ML = 28
		playProbes(m, in, at, 8, 10, 315, 28, c.emitter, c.plant)
		if odds := m.Fast.Probes[0].Odds; (odds >= dryOdds) != c.told || !c.told && odds > silentOdds {
			t.Errorf("%s: log odds of an emitter fault %.1f; %+v", c.name, odds, m.Fast.Probes[0])
		}
	}
}

// A probe that parts from the others errs, or its container gets another share of the water.
// Shots tell of one that parts within hours; over days nothing does, and both are told. What
// was cut off stays low by that, for as long as it is not where the others are.
func TestAProbeThatPartsIsSharedWithItsWater(t *testing.T) {
	for name, c := range map[string]struct {
		health          sensing.Health
		low             lowness
		odds            float32
		emitter, sensor bool // above even odds
		equal           bool
	}{
		"drifts and answers as ever":           {sensing.Drifting, notLow, -1.5, true, true, true},
		"drifts down and answers as ever":      {sensing.Drifting, fellLow, -1.5, true, true, true},
		"parts within hours, not downwards":    {sensing.Disagreeing, notLow, 0, false, true, false},
		"falls, and no shot has come":          {sensing.Disagreeing, fellLow, 0, true, true, true},
		"falls, and does not answer":           {sensing.Disagreeing, fellLow, 3.5, true, false, false},
		"was cut off, and answers again":       {sensing.Disagreeing, cutLow, -1.5, false, false, true},
		"was cut off, drifts, answers as ever": {sensing.Drifting, cutLow, -1.5, false, false, true},
	} {
		w := &ProbeWatch{IllS: 48 * 3600, Odds: c.odds, Usual: 1, Recent: 1, High: 0.3, Low: c.low}
		emitter, sensor := w.weigh(&Probe{Heard: true, Health: c.health, Mean: 0.3, Parted: 0.25}, 0.2, false, false)
		if emitter > 0.6 != c.emitter || sensor > 0.6 != c.sensor || (emitter == sensor) != c.equal {
			t.Errorf("%s: log odds of an emitter fault %.2f, of a sensor fault %.2f", name, emitter, sensor)
		}
	}
	// what is seen of one that drifts, and that a day without a word of it changes nothing
	m, at := known()
	in := inputs()
	in.ProbeCount, in.Learned.Uptake5ML = 2, 0.5
	look := func(hours int) {
		for k := range 12 * hours {
			at += 5 * 60_000
			for i := range in.ProbeCount {
				in.Probes[i] = Probe{Heard: true, Mean: in.WaterContent - 0.2*float64(i) + 0.0003*float64(k%3), AtMs: at}
			}
			in.Probes[1].Health, in.Probes[1].Parted = sensing.Drifting, 0.25
			m.Look(in, at)
		}
	}
	told := func() {
		t.Helper()
		f := m.Findings(at, words)
		if len(f) != 2 || f[0].Probability > 0.55 || f[1].Probability < 0.4 {
			t.Fatalf("%+v", f)
		}
		for _, x := range f {
			evidence := map[string]string{SensorFault.String(): "probe-ill", EmitterFault.String(): "probe-or-water"}[x.Cause]
			if !says(x.Evidence, evidence) || x.Look.Code != "look-lift-probe" {
				t.Errorf("%+v", x)
			}
		}
	}
	look(36)
	told()
	m.Belief.add(EmitterFault, -5)
	look(1)
	told()
}

// A step of the only probe is the zone's level from then on: it is told for as long as the
// days' peaks lie where it went.
func TestAStepOfTheOnlyProbeStandsWhileThePeaksDo(t *testing.T) {
	const at = start + 20*dayMs
	for _, c := range []struct {
		probes int
		off    float32 // of the newest peak, in standard deviations
		days   int64   // since the step
		told   bool
	}{{1, 0, 1, true}, {1, -3, 5, true}, {1, 0, 5, false}, {1, 3, 5, false}, {2, -3, 5, false}, {2, 0, 1, true}} {
		in := inputs()
		in.ProbeCount = c.probes
		for i := range c.probes {
			in.Probes[i] = Probe{Heard: true, Mean: 0.5, AtMs: at}
		}
		in.Probes[0].SteppedMs, in.Probes[0].SteppedFrom, in.Probes[0].SteppedTo = at-c.days*dayMs, 0.58, 0.5
		var base Baselines
		base.Of[Peak] = Baseline{Days: 12, Off: c.off, NowS: uint32((at - dayMs/2) / 1000)}
		if odds := in.Probes[0].steppedOdds(in, at, &base); (odds > 0) != c.told {
			t.Errorf("%d probes, peaks off by %g, %d days after: log odds %g", c.probes, c.off, c.days, odds)
		}
	}
}

// Once its emitter is mended a container stays dry for days, and its probe differs from the
// others by that: it is no sensor fault, and the emitter fault ends as the probe answers.
func TestAMendedEmitterLeavesADryContainer(t *testing.T) {
	m, at := known()
	in := inputs()
	in.ProbeCount, in.Learned.Uptake5ML = 2, 4
	in.Probes[0].Mean, in.Probes[1].Mean = 0.5, 0.5
	at = playProbes(m, in, at, 60, 36, 144, 4, 1, 1)
	at = playProbes(m, in, at, 24, 36, 144, 4, 0, 1)
	if f := m.Findings(at, words); len(f) == 0 || f[0].Cause != EmitterFault.String() {
		t.Fatalf("cut off: %+v", f)
	}
	in.Probes[0].Health = sensing.Disagreeing
	for range 12 {
		at = playProbes(m, in, at, 3, 36, 144, 4, 1, 1)
		for _, f := range m.Findings(at, words) {
			if f.Cause == SensorFault.String() && f.Probability > 0.2 {
				t.Fatalf("mended: %+v; %+v", f, m.Fast.Probes[0])
			}
		}
	}
	if f := m.Findings(at, words); len(f) > 0 {
		t.Errorf("a day and a half after it was mended: %+v; %+v", f, m.Fast.Probes[0])
	}
}

// A container that gets its water again is dry for some days and no longer: a probe that
// differs for weeks errs, whatever was the matter before.
func TestADryContainerComesBackWithinDays(t *testing.T) {
	m, at := known()
	in := inputs()
	in.ProbeCount, in.Learned.Uptake5ML = 2, 4
	in.Probes[0].Mean, in.Probes[1].Mean = 0.4, 0.5
	in.Probes[0].Health = sensing.Disagreeing
	*m.Fast.Probes.At(0) = ProbeWatch{Low: cutLow, Odds: -3, Usual: 1, Recent: 1}
	told := func() (p float64) {
		for _, f := range m.Findings(at, words) {
			if f.Cause == SensorFault.String() {
				p = f.Probability
			}
		}
		return p
	}
	at = playProbes(m, in, at, 2*24, 36, 144, 4, 1, 1)
	if p := told(); p > 0.2 {
		t.Errorf("after two days a sensor fault is %.2f likely", p)
	}
	at = playProbes(m, in, at, 28*24, 36, 144, 4, 1, 1)
	if p := told(); p < 0.8 {
		t.Errorf("after thirty days a sensor fault is %.2f likely; %+v", p, m.Fast.Probes[0])
	}
}
