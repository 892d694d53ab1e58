package diagnose

import (
	"math"
	"math/rand/v2"
	"testing"
)

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
		m.Belief.fade(at + 2*hourMs) // a whole day speaks of salt: nothing is to be waited for
		found := m.Findings(at+2*hourMs, words)
		leads := len(found) > 0 && found[0].Cause == SaltBuildUp.String()
		if leads != c.leads {
			t.Errorf("%s: %+v", c.name, found)
		}
		if leads && (!says(found[0].Evidence, "salt-index-moved") || says(found[0].Evidence, "pore-ec-moved")) {
			t.Errorf("%s: says %+v", c.name, found[0].Evidence)
		}
	}
}

// Pore EC of a sound container wanders: it rises for some days by up to a tenth a day and
// falls for some. That is no salt that builds up: few zones of many are told of within
// forty days. One whose pore EC doubles in three days is.
func TestSaltThatWandersIsNotTold(t *testing.T) {
	told := func(jump float64) int {
		n := 0
		for seed := range uint64(60) {
			r := rand.New(rand.NewPCG(seed, 3))
			m, at, ln, slope := &Memory{}, start, 1.0, 0.0
			for day := range 40 {
				at += dayMs
				slope = 0.8*slope + 0.03*r.NormFloat64()
				ln += slope
				if day >= 37 {
					ln += jump / 3
				}
				f := Features{Hours: 24, UptakeML: 900, Enough: true, Holds: 0.6}
				for k := Feature(0); k < featureCount; k++ {
					f.set(k, usual[k]+noise(k, r), 0.25*floors[k])
				}
				f.set(PoreEC, ln, 0.02)
				f.Known[SaltRise] = false
				m.Belief.fade(at)
				m.Baselines.weigh(&f, &m.Belief, at)
				m.Belief.fade(at + 21*hourMs)
				if found := m.Findings(at+21*hourMs, words); len(found) > 0 && found[0].Cause == SaltBuildUp.String() {
					n++
					break
				}
			}
		}
		return n
	}
	quiet, salty := told(0), told(math.Log(2))
	t.Logf("of 60 zones %d told that wander, %d of which salt builds up", quiet, salty)
	if quiet > 15 || salty < 35 {
		t.Errorf("of 60 zones %d told that wander, %d of which salt builds up", quiet, salty)
	}
}

// A pore EC that rises towards what the band wants is fed, not salted; one that rises
// beyond it, or where nobody says what is wanted, is told within days.
func TestSaltThatIsWantedIsNotTold(t *testing.T) {
	for _, c := range []struct {
		wanted Number
		told   bool
	}{{Number{3, true}, false}, {Number{1.8, true}, true}, {Number{}, true}} {
		m, at := &Memory{}, start
		in := inputs()
		in.WantedEC = c.wanted
		for day := range 19 {
			in.PoreEC = Number{Value: 1.5 + 0.25*math.Max(0, float64(day-14)), Known: true}
			for range 288 {
				at += 5 * 60_000
				m.Today.look(in, at)
			}
			f := m.Today.finish(in)
			m.Belief.fade(at)
			m.Baselines.weigh(&f, &m.Belief, at)
			m.Today = Collector{}
		}
		m.Belief.fade(at + 5*hourMs)
		found := m.Findings(at+5*hourMs, words)
		if told := len(found) > 0 && found[0].Cause == SaltBuildUp.String(); told != c.told {
			t.Errorf("from 1.5 to 2.5 mS/cm where %+v is wanted: %+v", c.wanted, found)
		}
	}
}
