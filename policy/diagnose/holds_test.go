package diagnose

import "testing"

// A container that stood low and is filled holds no more than it ever could: its level
// rises as it does where water stands, and only one that comes to rest at what it holds
// or above has water standing in it.
func TestAContainerThatIsFilledIsNotOversaturated(t *testing.T) {
	for _, c := range []struct {
		name   string
		stands bool
		leads  bool
	}{{"filled", false, false}, {"stands", true, true}} {
		n := 0
		for seed := range uint64(10) {
			m, at := play(seed, 14, 0, nil)
			for range 3 {
				at += dayMs
				f := Features{Hours: 24, UptakeML: 900, Enough: true, Stands: c.stands}
				for k, v := range usual {
					f.set(k, v, 0.25*floors[k])
				}
				for _, k := range []Feature{Peak, Rest, Plateau} {
					f.set(k, usual[k]+0.1, 0.25*floors[k])
				}
				m.Belief.fade(at)
				m.Baselines.weigh(&f, &m.Belief, at)
			}
			m.Belief.fade(at + 5*hourMs)
			if found := m.Findings(at+5*hourMs, words); len(found) > 0 && (found[0].Cause == Oversaturation.String() || found[0].Cause == Compaction.String()) {
				n++
				if !says(found[0].Evidence, "level-at-rest") {
					t.Errorf("%s: says %+v", c.name, found[0].Evidence)
				}
			}
		}
		if c.leads && n < 8 || !c.leads && n > 0 {
			t.Errorf("%s: told in %d of 10", c.name, n)
		}
	}
}
