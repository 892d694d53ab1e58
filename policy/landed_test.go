package policy

import (
	"math/rand/v2"
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// The only probe of a zone is knocked: it reads 0.1 lower from one reading to the next, and
// goes on answering its shots. It is believed again, and what its container holds is then what that
// probe shows of it, or the zone would be filled to its brim. Where it reads higher somebody may
// have watered.
func TestALoneProbeThatWasKnockedShowsWhatItsContainerHoldsAnew(t *testing.T) {
	const knocked, days = 5*24*60 + 11*60, 7 // minutes, days
	for _, c := range []struct{ by, least, most float64 }{{-0.1, -0.14, -0.06}, {0.06, -0.02, 0.04}} {
		s := bench()
		s.Probes, s.Quorum = s.Probes[:1], 1
		z, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		noise := rand.New(rand.NewPCG(3, 4))
		holds := z.ground.constants.DesignCapacity
		level, before, counts := holds-0.01, 0.0, false
		for m := range days * 24 * 60 {
			at := monday.Add(time.Duration(m) * time.Minute)
			if hour := m / 60 % 24; hour >= 6 && hour < 20 { // it drinks, and is watered each hour
				level -= 0.00012
				if m%60 == 0 {
					level = min(level+0.01, holds)
					e := Event{Kind: Reading, At: at, Stamp: at, Source: ZoneWide}
					e.Values.Set(sensing.IrrigationVolume, 0.01*z.ground.constants.VolumeML)
					z.Step(e)
				}
			}
			if m == knocked {
				before = z.m.Learned.Capacity.Mean
			}
			if m%5 != 0 {
				continue
			}
			shows := level
			if m >= knocked {
				shows += c.by
			}
			e := Event{Kind: Reading, At: at, Stamp: at, Source: 0}
			e.Values.Set(sensing.WaterContent, z.ground.tables[0].Reading(shows)+0.0006*noise.NormFloat64())
			z.Step(e)
			counts = counts || m > knocked && z.quorum(at.UnixMilli())
		}
		if moved := z.m.Learned.Capacity.Mean - before; !counts || moved < c.least || moved > c.most {
			t.Errorf("a probe that reads %+.2f: its container is taken to hold %+.3f, want %+.2f to %+.2f; it counts: %v", c.by, moved, c.least, c.most, counts)
		}
	}
}
