package diagnose

import "testing"

// Salt is told by bulk EC where pore EC is not known: by its index, and never as a pore
// EC. Where pore EC is known the index is silent, and of a zone that is below its band
// nothing is taken from it.
func TestSaltIsToldWithoutPoreEC(t *testing.T) {
	for _, c := range []struct {
		name         string
		pore         bool    // pore EC is known, and stays
		up           float64 // times the index, on the last three days
		top          float64 // highest water content of those days, m3/m3
		leads, index bool
	}{
		{"salt builds up", false, 1.4, 0.62, true, true},
		{"nothing does", false, 1, 0.62, false, true},
		{"pore EC knows better", true, 1.4, 0.62, false, true},
		{"a zone that dries out", false, 1.4, 0.4, false, false},
	} {
		m, at := &Memory{}, start
		in := inputs()
		in.RefillPoint = 0.5
		for day := range 17 {
			in.SaltIndex = Number{Value: 3, Known: true}
			in.PoreEC = Number{Value: 2, Known: c.pore}
			in.WaterContent = 0.62
			if day >= 14 {
				in.SaltIndex.Value, in.WaterContent = 3*c.up, c.top
			}
			for range 288 {
				at += 5 * 60_000
				m.Today.look(in, at)
			}
			f := m.Today.finish(in)
			if day >= 14 && f.Known[Salt] != c.index {
				t.Errorf("%s: index known %v; expected %v", c.name, f.Known[Salt], c.index)
			}
			m.Belief.fade(at)
			m.Baselines.weigh(&f, &m.Belief, at)
			m.Today = Collector{}
		}
		m.Belief.fade(at + 5*hourMs)
		found := m.Findings(at+5*hourMs, words)
		leads := len(found) > 0 && found[0].Cause == SaltBuildUp.String()
		if leads != c.leads {
			t.Errorf("%s: %+v", c.name, found)
		}
		if leads && (!says(found[0].Evidence, "salt-index-moved") || says(found[0].Evidence, "pore-ec-moved")) {
			t.Errorf("%s: says %+v", c.name, found[0].Evidence)
		}
	}
}
