package diagnose

import "testing"

// pots plays days of a zone whose container holds size times what is known of it: every six
// hours a shot of what its crop drank and a tenth more, of which arrives comes.
func pots(m *Memory, in *Inputs, at int64, days int, arrives, size float64) int64 {
	in.ProbeCount, in.Learned.Uptake5ML = 1, 2
	drunk := 0.0
	for look := range days * 24 * 12 {
		at += 5 * 60_000
		in.ClimateMs = at
		ml := usualUptake(in, &m.Baselines) * 300
		drunk += ml
		in.WaterContent -= ml / in.VolumeML / size
		if look%72 == 71 {
			in.Water.TotalML += 1.1 * drunk
			in.Water.ReportedML += 1.1 * drunk
			in.Water.LastMs, in.Water.LastShotMs = at, at
			in.WaterContent += arrives * 1.1 * drunk / in.VolumeML / size
			drunk = 0
		}
		in.Probes[0] = Probe{Heard: true, Mean: in.WaterContent + 0.0003*float64(look%3), AtMs: at}
		m.Look(in, at)
	}
	return at
}

// A zone that was moved into a container of two and a half times the volume and nobody
// told: shots lift it by less and the crop lowers it by less. Behind emitters that give less
// the crop drinks on. Who says that the pots are where they were is believed.
func TestAZoneThatWasMovedWithoutAWord(t *testing.T) {
	for name, c := range map[string]struct {
		arrives, size float64
		note          string
		asked         bool
	}{
		"moved":                   {0.91, 2.5, "", true},
		"emitters that give less": {0.35, 1, "", false},
		"moved, and somebody says that it is not": {0.91, 2.5, "Same pots as ever, nothing was repotted.", false},
	} {
		m, at := play(3, 10, 0, nil)
		in := inputs()
		at = pots(m, in, at, 2, 0.91, 1)
		if p, _ := m.Moved(at); p > 0 {
			t.Errorf("%s: a sound zone was moved with %.2f", name, p)
		}
		in.WaterContent -= 0.02
		at = pots(m, in, at, 2, c.arrives, c.size)
		if c.note != "" {
			m.Said("decision", c.note, at, at)
		}
		moved, _ := m.Moved(at)
		f := m.Findings(at, words)
		if len(f) == 0 {
			t.Fatalf("%s: nothing is found; odds %.1f, falls of %.2f", name, m.Fast.Fall.Elsewhere.Odds, m.Fast.Fall.Elsewhere.Fall)
		}
		told := f[0].Cause == WeatherOrGrowth.String() && f[0].Look.Code == "look-container" && says(f[0].Evidence, "falls-and-rises-less")
		if told != c.asked || (moved > elsewhereSaid) != c.asked {
			t.Errorf("%s: moved with %.2f, told %v: %+v", name, moved, told, f)
		}
		if c.asked && m.NoWater(at) < 0.05 {
			t.Errorf("%s: nothing is left to water that does not come, %.3f", name, m.NoWater(at))
		}
	}
}

// A crop that was told to have been pruned drinks less, and the water content falls less: of
// shots that lift less beside that the emitters are accused, and nobody is asked about a move.
func TestAToldPruningIsNoMove(t *testing.T) {
	for told, want := range map[bool]Cause{true: EmitterFault, false: WeatherOrGrowth} {
		m, at := play(3, 10, 0, nil)
		in := inputs()
		at = pots(m, in, at, 2, 0.91, 1)
		if told {
			m.Said("shoots-pruned", "", at, at)
		}
		in.WaterContent -= 0.02
		at = pots(m, in, at, 2, 0.91, 2.5) // as falls and rises look behind half the shoots and blocked emitters
		moved, _ := m.Moved(at)
		f := m.Findings(at, words)
		if len(f) == 0 || f[0].Cause != want.String() || told != (moved == 0) {
			t.Errorf("told %v: moved with %.2f: %+v", told, moved, f)
		}
	}
}

// Where the water content does not fall at all, what is usual of its falls strays about nothing
// and below. A fall is no share of that.
func TestAZoneThatDoesNotFallTellsNoMove(t *testing.T) {
	m, at := play(3, 10, 0, nil)
	in, w := inputs(), &m.Fast.Fall
	in.ClimateMs = at
	for range 300 {
		w.Usual.learn(-0.05-w.Usual.mean(), 0.3, false)
	}
	if w.Usual.mean() > 0 {
		t.Fatalf("usual is %.2f; the test wants less than nothing", w.Usual.mean())
	}
	w.elsewhere(&fall{expected: 0.01, fell: 0.001, noise: 0.001}, in, at, &m.Baselines)
	if w.Elsewhere != (Elsewhere{}) {
		t.Errorf("it tells %+v", w.Elsewhere)
	}
}
