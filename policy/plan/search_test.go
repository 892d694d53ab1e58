package plan

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The search stays near the best of very many candidates drawn at random.
func TestSearchIsNearTheBestOfMany(t *testing.T) {
	for name, r := range map[string]*Request{
		"usual": pot(7000, 1300), "mild": pot(7000, 500), "thirsty": pot(12000, 4000),
		"tiny": pot(300, 400), "slab": pot(15000, 2500), "drainy": drainy(),
		"slow and dry": slow(7000, 420, 0.50), "slow and drier": slow(7000, 420, 0.42), "slow": slow(14000, 500, 0.57), "slow and drainy": slow(7000, 420, 0.48, 0.22),
	} {
		t.Run(name, func(t *testing.T) {
			var s Scratch
			s.begin(r)
			found, score := s.search()
			got, none := score, candidate{none: true}
			if dry := s.evaluate(&none, allMembers); dry.Cost < got.Cost { // which is no part of the search
				got = dry
			}
			rng := rand.New(rand.NewPCG(1, 2))
			best, bestScore := found, got
			for range 10000 {
				c := candidate{
					first: s.grid.first + rng.IntN(72), shot: rng.IntN(len(s.volumes)),
					target: s.mostTarget - rng.IntN(8), lean: rng.IntN(3),
				}
				c.last, c.trigger = c.first+rng.IntN(170), c.target-1-rng.IntN(16)
				s.bound(&c)
				if x := s.evaluate(&c, allMembers); x.Cost < bestScore.Cost {
					best, bestScore = c, x
				}
			}
			t.Logf("found %+v %+v (%d)\nbest %+v %+v", found, score, s.evaluations, best, bestScore)
			if more := got.Cost - bestScore.Cost; more > math.Max(0.25, 0.04*bestScore.Cost) {
				t.Errorf("costs %.3f h more than the best of many, %.3f", more, bestScore.Cost)
			}
		})
	}
}

// slow is a large pot of a crop that drinks in a day what the night should dry back.
func slow(volumeML, uptakeML, water float64, drain ...float64) *Request {
	r := pot(volumeML, uptakeML)
	r.Situation.WaterContent = water
	r.Band.RefillPoint, r.Limits.MaxDailyML = 0.35, 4000
	for _, d := range drain {
		r.Band.DrainFraction = d
	}
	return r
}

func drainy() *Request {
	r := pot(7000, 1300)
	r.Band.DrainFraction = 0.25
	r.Band.FullPoint = 0.61
	return r
}
