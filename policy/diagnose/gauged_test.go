package diagnose

import "testing"

// Half of what zones usually keep is missing from their shots. Where the gauge tells of as
// much more drain it ran past, or found no room, and no emitter is accused; where it tells of
// no more than usual the water did not come. One that tells of nothing, usually or now, leaves
// the causes as they are.
func TestTheGaugeTellsWhereTheRestWent(t *testing.T) {
	for name, c := range map[string]struct {
		usual, now    float64 // share that drains
		silent        bool
		emitter, past bool // accused
	}{
		"it drained":             {usual: 0.08, now: 0.5, past: true},
		"it did not come":        {usual: 0.08, now: 0.05, emitter: true},
		"no gauge":               {silent: true, emitter: true, past: true},
		"a tray that is missing": {emitter: true, past: true},
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
		if got := b.LogOdds[EmitterFault] > 2; got != c.emitter {
			t.Errorf("%s: log odds of a blocked emitter %.1f", name, b.LogOdds[EmitterFault])
		}
		for _, k := range [...]Cause{EdgeChannelling, RootBound} {
			if got := b.LogOdds[k] > 2; got != c.past {
				t.Errorf("%s: log odds of %v %.1f", name, k, b.LogOdds[k])
			}
		}
	}
}
