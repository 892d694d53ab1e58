package diagnose

import (
	"math"
	"slices"
	"testing"
	"time"

	"rhizostat/policy/advice"
)

// A zone that is always dry is held against what it keeps in dry substrate, once that is
// known and most of it shows. Fewer windows, ones that hardly show and ones that begin
// deeper say nothing: dry substrate repels water.
func TestDryZonesAreHeldAgainstThemselves(t *testing.T) {
	for name, c := range map[string]struct {
		windows    int
		kept, last float64
		from       float32
		valve      bool
		emitter    bool
	}{
		"nothing stays":             {20, 0.7, 0, 0.3, true, true},
		"a third stays":             {20, 0.7, 0.25, 0.3, false, true},
		"as much as ever":           {20, 0.7, 0.7, 0.3, false, false},
		"nothing, of few windows":   {dryShots - 4, 0.7, 0, 0.3, false, false},
		"nothing, begun deeper":     {20, 0.7, 0, 0.3 - 2*dryDeeper, false, false},
		"nothing, where little did": {40, 0.2, 0, 0.3, false, false},
	} {
		s, in, b, at := &ShotTest{}, inputs(), &Belief{}, start
		in.RefillPoint = 0.5
		window := func(x float64, zone float32) {
			at += 2 * hourMs
			s.Zone, s.Reports, s.WaterMs = zone, 1, at-showsMs
			s.take(x, 5, 0.05, 200, in, at, b)
		}
		for range c.windows {
			window(c.kept, 0.3)
		}
		if s.Windows != 0 || s.Lost != 0 {
			t.Errorf("%s: %d windows count as those of a zone in its band, %d shots as lost", name, s.Windows, s.Lost)
		}
		*b = Belief{}
		for range 3 {
			window(c.last, c.from)
		}
		if got := b.LogOdds[ValveStuckClosed] > 4; got != c.valve {
			t.Errorf("%s: log odds of a closed valve %.1f", name, b.LogOdds[ValveStuckClosed])
		}
		m := &Memory{}
		m.Fast.Shots = *s
		said := slices.ContainsFunc(m.fastEvidence(EmitterFault, at, Naming{Location: time.UTC}), func(r advice.Reason) bool { return r.Code == "shots-lift-less" })
		if c.emitter && !said {
			t.Errorf("%s: nothing says that shots lift less", name)
		}
		if got := b.LogOdds[EmitterFault] > 1; got != c.emitter {
			t.Errorf("%s: log odds of a blocked emitter %.1f", name, b.LogOdds[EmitterFault])
		}
	}
}

// What is usual of dry substrate begins as what is usual of the zone, and follows the
// share that stays as it dries out further.
func TestWhatIsUsualOfDrySubstrateFollows(t *testing.T) {
	s, in, b, at := &ShotTest{}, inputs(), &Belief{}, start
	in.RefillPoint = 0.5
	window := func(n int, x float64, zone float32) {
		for range n {
			at += 5 * hourMs
			s.Zone, s.Reports, s.WaterMs = zone, 1, at-showsMs
			s.take(x, 5, 0.05, 200, in, at, b)
		}
	}
	window(30, 0.7, 0.55)
	window(1, 0.7, 0.3)
	if got := s.Usual[2].Mean; s.Usual[0].Mean > 0.75 || got > 0.75 {
		t.Errorf("%.2f is usual in the band, %.2f of dry substrate; expected 0.7 of both", s.Usual[0].Mean, got)
	}
	window(29, 0.7, 0.3)
	window(30, 0.45, 0.3)
	if got := s.Usual[2].Mean; got < 0.43 || got > 0.5 {
		t.Errorf("%.2f is usual of dry substrate; expected 0.45", got)
	}
}

// Water that lifts a zone came through its valve, however dry the substrate is: a fault that
// was mended is over with the first shots that show. Shots that do not show there say nothing.
func TestWaterThatShowsInDrySubstrateAcquits(t *testing.T) {
	for name, c := range map[string]struct {
		kept           float64
		valve, emitter bool // still accused
	}{
		"all of it stays":   {0.8, false, false},
		"a third stays":     {0.3, false, true},
		"next to none does": {0.05, true, true},
	} {
		s, in, b, at := &ShotTest{}, inputs(), &Belief{}, start
		in.RefillPoint = 0.5
		b.LogOdds[ValveStuckClosed], b.LogOdds[EmitterFault] = 9, 6
		s.Usual[0], s.Windows, s.Seen, s.From, s.Lost = Answer{Mean: 0.8, Var: 0.02, Windows: 30}, 30, 30, 0.55, 5
		for range 5 {
			at += 2 * hourMs
			s.Zone, s.Reports, s.WaterMs = 0.3, 1, at-showsMs
			s.take(c.kept, 5, 0.05, 200, in, at, b)
		}
		if got := b.LogOdds[ValveStuckClosed] > 4; got != c.valve {
			t.Errorf("%s: log odds of a closed valve 9 -> %.1f", name, b.LogOdds[ValveStuckClosed])
		}
		if got := b.LogOdds[EmitterFault]; got > 3 != c.emitter || got > 6 {
			t.Errorf("%s: log odds of a blocked emitter 6 -> %.1f", name, b.LogOdds[EmitterFault])
		}
		if (s.Lost > 0) != c.valve {
			t.Errorf("%s: %d shots are said to be lost", name, s.Lost)
		}
	}
}

// Shots that lift less do not say where the rest went, however many they are: half of what is
// usual speaks alike for emitters, a gap along the wall and roots. The drain gauge tells them
// apart: what runs past must come out.
func TestShotsThatLiftLessDoNotSayWhereTheRestWent(t *testing.T) {
	shortCauses := [...]Cause{EmitterFault, EdgeChannelling, RootBound}
	m, at := play(3, 10, 0, nil)
	m.Belief = Belief{AtMs: at}
	s, in, b := &m.Fast.Shots, inputs(), &m.Belief
	*s = ShotTest{Usual: [3]Answer{{Mean: 0.8, Var: 0.02, Windows: 30}}, Windows: 30, Seen: 30, From: 0.45}
	for range 24 {
		at += 2 * hourMs
		s.Zone, s.Reports, s.WaterMs = 0.45, 1, at-showsMs
		s.take(0.4, 5, 0.05, 200, in, at, b)
		b.fade(at)
	}
	for _, c := range shortCauses {
		if got := b.LogOdds[c]; got < 3 || math.Abs(float64(got-b.LogOdds[EmitterFault])) > 0.01 {
			t.Errorf("two days of halved shots: log odds of %v %.1f; expected as much of each", c, got)
		}
	}
	f := Features{Hours: 24, UptakeML: 900}
	if s.finish(in, &f, at); !f.LiftsLess {
		t.Fatal("the day is not known as one whose shots lifted less")
	}
	f.set(Drained, usual[Drained], 0.03)
	m.Baselines.weigh(&f, b, at)
	for _, c := range shortCauses[1:] {
		if got := b.LogOdds[c]; got > b.LogOdds[EmitterFault]-0.7 {
			t.Errorf("no more than usual drains: log odds of %v %.1f, of the emitters %.1f", c, got, b.LogOdds[EmitterFault])
		}
	}
}

// A zone that never has room for all of a shot is known all the same: its windows show how far
// they stray from the room there is, and one of which half is missing counts in full. Where they
// stray as far as that by themselves, it says little.
func TestWindowsThatAreShortOfRoomMakeAZoneKnown(t *testing.T) {
	for name, c := range map[string]struct {
		stray    float64
		from, to float32 // log odds of the emitters of two windows that keep half of the usual
	}{
		"they keep what finds room": {0.05, 2, 10},
		"they stray":                {0.4, -1, 1},
	} {
		s, in, b, at := &ShotTest{}, inputs(), &Belief{}, start
		in.Learned.Capacity = 0.6
		window := func(x float64) {
			at += 5 * hourMs
			s.Zone, s.Reports, s.WaterMs = 0.5, 1, at-showsMs
			s.take(x, 0.8, 0.03, 900, in, at, b)
		}
		for i := range 20 {
			window(0.8 + c.stray*float64(i%2*2-1))
			*b = Belief{}
		}
		if got := s.Usual[0].Mean; math.Abs(float64(got)-0.9) > 0.001 {
			t.Errorf("%s: %.2f of a shot is usual; expected 0.9 as before, what room left says nothing of it", name, got)
		}
		window(0.4)
		window(0.4)
		if got := b.LogOdds[EmitterFault]; got < c.from || got > c.to {
			t.Errorf("%s: log odds of the emitters %.1f; expected %.0f to %.0f", name, got, c.from, c.to)
		}
	}
}

// A zone that was always watered full is not known for what it keeps where there is room: one
// that turns out to keep two thirds is learned anew, and accuses its emitters of nothing; one of
// which nearly nothing stays still does.
func TestTheFirstWindowsWithRoomAreNotJudgedByThoseWithout(t *testing.T) {
	for keeps, want := range map[float64]func(odds, mean float64) bool{
		0.6: func(odds, mean float64) bool { return odds < 1 && mean < 0.8 },
		0.1: func(odds, mean float64) bool { return odds > 3 },
	} {
		s, in, b, at := &ShotTest{}, inputs(), &Belief{}, start
		window := func(x, room float64) {
			at += 5 * hourMs
			s.Zone, s.Reports, s.WaterMs = 0.5, 1, at-showsMs
			s.take(x, room, 0.03, 900, in, at, b)
		}
		for range 20 {
			window(0.5, 0.5)
			*b = Belief{}
		}
		for range 6 {
			window(keeps, 1.3)
		}
		if odds, mean := float64(b.LogOdds[EmitterFault]), float64(s.Usual[0].Mean); !want(odds, mean) {
			t.Errorf("six windows that keep %.1f: log odds of the emitters %.1f, %.2f is usual", keeps, odds, mean)
		}
	}
}
