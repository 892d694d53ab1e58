package diagnose

import (
	"math"
	"testing"
)

// Half of what a zone usually keeps is missing from four of its shots, with the drain that a
// gauge tells meanwhile. Where as much more drains as is missing, it ran past or found no room,
// and an emitter is unlikely; where no more does than usual, the water did not come. Without a
// gauge, or with one that never told of anything, the shots do not tell the two apart.
func TestTheGaugeTellsWhereTheRestWent(t *testing.T) {
	for name, c := range map[string]struct {
		usual, now float64 // share that drains
		silent     bool
		from, to   float64 // by how much the log odds of an emitter exceed those of water that runs past
	}{
		"it drained":             {usual: 0.08, now: 0.5, from: -20, to: -5},
		"half of it drained":     {usual: 0.08, now: 0.3, from: -20, to: -2},
		"it did not come":        {usual: 0.08, now: 0.05, from: 3, to: 20},
		"others drain as usual":  {usual: 0.3, now: 0.3, from: 3, to: 20}, // one emitter of many
		"no gauge":               {silent: true, from: -0.1, to: 0.1},
		"a tray that is missing": {from: -0.1, to: 0.1},
	} {
		s, in, b, at := &ShotTest{}, inputs(), &Belief{}, start
		in.Water.DrainHeard = !c.silent
		window := func(kept, drains float64) {
			at += 2 * hourMs
			s.Zone, s.Reports, s.WaterMs = 0.5, 1, at-showsMs
			s.Drain.begin(in)
			if !c.silent {
				in.Water.DrainedML += drains * 200
			}
			s.take(kept, 5, 0.05, 200, in, at, b)
		}
		for range 20 {
			window(0.85, c.usual)
		}
		*b = Belief{}
		for range 4 {
			window(0.4, c.now)
		}
		if most := math.Max(float64(b.LogOdds[EmitterFault]), float64(b.LogOdds[RootBound])); most < 4 {
			t.Errorf("%s: nothing is accused, log odds %.1f", name, most)
		}
		for _, k := range [...]Cause{EdgeChannelling, RootBound} {
			if by := float64(b.LogOdds[EmitterFault] - b.LogOdds[k]); by < c.from || by > c.to {
				t.Errorf("%s: log odds of an emitter exceed those of %v by %.1f; expected %g to %g", name, k, by, c.from, c.to)
			}
		}
	}
}

// Drain beside shots that lift as usual accuses nothing: nothing is missing.
func TestDrainAloneAccusesNothing(t *testing.T) {
	in, g := inputs(), Gauge{}
	in.Water.DrainHeard = true
	g.begin(in)
	in.Water.DrainedML += 100
	w := weights{e: 0.02, spread: 0.1}
	w.r[EmitterFault] = 0.3
	g.tell(&w, Drains{0.08, 20}, 200, in)
	if w.r[EmitterFault] != 0.3 {
		t.Errorf("log likelihood ratio of an emitter %.2f; expected 0.3 as before", w.r[EmitterFault])
	}
}

// A gauge that begins late tells what usually drains from its own stretches: those that nobody
// told of say nothing.
func TestAGaugeThatBeginsLate(t *testing.T) {
	in, g, usual := inputs(), Gauge{}, Drains{}
	for n := range 20 {
		in.Water.DrainHeard = n >= 16
		g.begin(in)
		in.Water.DrainedML += 60
		g.learn(&usual, 200, in)
	}
	if math.Abs(float64(usual.Mean)-0.3) > 0.01 || usual.Heard != 4 {
		t.Errorf("after 4 of 20 stretches of which 30 %% drained: %+v", usual)
	}
}

// Shots lift less and more drains. A container whose wall lets water past is not full for that,
// and its levels sink for want of water; one that loses more than it is given holds less than it
// did, which no gap along the wall makes it.
func TestDrainBesideSinkingLevels(t *testing.T) {
	for name, c := range map[string]struct {
		drained float64 // beyond the usual
		spills  bool
		root    bool
	}{
		"a third of it drains":          {0.35, false, false},
		"more drains than it was given": {0.9, true, true},
	} {
		m, at := play(5, 14, 0, nil)
		r := m.Baselines.Of
		for range 3 {
			at += dayMs
			f := Features{Hours: 24, UptakeML: 900, LiftsLess: true, Spills: c.spills}
			for _, k := range [...]Feature{UptakeDay, UptakeNight, Droop, RootCel, PoreEC, WetHours, Scatter} {
				f.set(k, float64(r[k].Mean), 0.25*floors[k])
			}
			f.set(Rise, usual[Rise]-0.6, 0.05)
			f.set(Drained, usual[Drained]+c.drained, 0.03)
			f.set(Peak, usual[Peak]-0.05, 0.002)
			f.set(Rest, usual[Rest]-0.05, 0.002)
			m.Belief.fade(at)
			m.Baselines.weigh(&f, &m.Belief, at)
		}
		root, gap := m.Belief.LogOdds[RootBound], m.Belief.LogOdds[EdgeChannelling]
		if (root > gap+1) != c.root || (gap > root+1) == c.root {
			t.Errorf("%s: log odds of roots %.1f, of a gap %.1f", name, root, gap)
		}
	}
}
