package sensing

import (
	"math"
	"testing"
)

// slowZone is a zone whose crop drinks 0.12 m3/m3 a day, with true probes.
func slowZone(seed uint64, probes int) *trialZone {
	z := newTrialZone(seed, probes, 5*minuteMs)
	z.perDay = 0.12
	z.rise = z.perDay / float64(z.shots) * 1.2
	for i := range z.probes {
		z.probes[i].gain, z.probes[i].offset, z.probes[i].resolution = 1, 0, 0.001
	}
	return z
}

// Containers that get a third less than they drink, one after the other, and what the
// zone then is: where no fewer dry than do not, it is what they say.
func TestContainersThatRunDry(t *testing.T) {
	for _, c := range []struct {
		name   string
		probes int
		dries  []int64 // when the first ones do, days after the fourth
		share  float64 // of what lies between the wet containers and the dry ones, that the zone must have come down by
		within float64 // of that share
	}{
		{"one of three is left out", 3, []int64{0}, 0, 0.15},
		{"two of three are the zone", 3, []int64{0, 5}, 1, 0.2},
		{"one of two is half the zone", 2, []int64{0}, 0.5, 0.2},
		{"three of four are the zone", 4, []int64{0, 4, 8}, 1, 0.2},
	} {
		for seed := range uint64(4) {
			z := slowZone(seed, c.probes)
			var p Panel
			floor := 0.5 * z.capacity
			take := func(probe int, at int64, r float64) {
				p.Observe(probe, at, r, r, Zone{WaterMs: z.reported(), Ceiling: 1, Floor: floor})
			}
			z.run(4*dayMs, take, nil)
			for day := range int64(20) {
				for i, from := range c.dries {
					if day >= from {
						z.probes[i].short = 0.35
					}
				}
				z.run(dayMs, take, nil)
			}
			wet, dry := z.truth(), 0.0
			for i := range c.dries {
				dry += z.probes[i].own / float64(len(c.dries))
			}
			level, _, _, ok := p.Consensus.Value(z.atMs)
			share := (wet - level) / (wet - dry)
			t.Logf("%s, seed %d: wet %.3f dry %.3f zone %.3f", c.name, seed, wet, dry, level)
			if !ok || math.Abs(share-c.share) > c.within {
				t.Errorf("%s, seed %d: wet %.3f, dry %.3f, the zone is %.3f: %.2f of the way; expected %.2f", c.name, seed, wet, dry, level, share, c.share)
			}
			if len(c.dries) == 1 && p.Health.At(0).State != Drifting {
				t.Errorf("%s, seed %d: the probe in the dry container is %v; expected drifting for as long as it is dry, though it has long come to rest", c.name, seed, p.Health.At(0).State)
			}
		}
	}
}

// twoRunDry has one container of three get too little from the fifth day on, and a second
// one from the tenth.
func twoRunDry(z *trialZone, day int) {
	for i, from := range [...]int{4, 9} {
		if day >= from {
			z.probes[i].short = 0.35
		}
	}
}

// Probes that are let in again are said once, for the level steps.
func TestRejoiningIsSaid(t *testing.T) {
	z := slowZone(1, 3)
	var p Panel
	said := 0
	for day := range 20 {
		twoRunDry(z, day)
		z.run(dayMs, func(probe int, at int64, r float64) {
			p.Observe(probe, at, r, r, Zone{WaterMs: z.reported(), Ceiling: 1, Floor: 0.5 * z.capacity})
			if p.Rejoined {
				said++
				p.Rejoined = false
			}
		}, nil)
	}
	if said == 0 || said > 2 {
		t.Errorf("said %d times; expected once or twice", said)
	}
}

// Probes that are let in again move what the others are held against. A probe in a
// container that stands still meanwhile, as by night, is not stuck for that.
func TestRejoiningLeavesNoneStuck(t *testing.T) {
	for seed := range uint64(6) {
		z := slowZone(seed, 3)
		var p Panel
		for day := range 20 {
			twoRunDry(z, day)
			z.run(dayMs, func(probe int, at int64, r float64) {
				if health := p.Observe(probe, at, r, r, Zone{WaterMs: z.reported(), Ceiling: 1, Floor: 0.1}); health == Stuck {
					t.Fatalf("seed %d: probe %d is stuck on day %d, after those that had run dry were let in again: %v", seed, probe, day, p.Rejoined)
				}
			}, nil)
		}
		if !p.Rejoined {
			t.Errorf("seed %d: no probe was let in again; expected it once half of the containers are dry", seed)
		}
	}
}
