package policy

import (
	"math/rand/v2"
	"testing"
	"time"

	"rhizostat/policy/simulator"
)

// TestWildSeasons plays facilities far beyond those that the engine is judged on:
// uneven and blocked emitters, dry and water-repellent substrate, coarse, late and silent
// probes and such as follow the temperature, people who take a day to approve, faults at
// any time. Nothing is asked of its advice; it must not panic, and no number may be none.
// RHIZOSTAT_SEASONS plays more.
func TestWildSeasons(t *testing.T) {
	if testing.Short() {
		t.Skip("plays seasons")
	}
	for i := range seasonCount(t, 6) {
		playWild(t, uint64(300_000+i))
	}
}

func playWild(t *testing.T, seed uint64) {
	t.Helper()
	defer func() {
		if r := recover(); r != nil {
			t.Errorf("seed %d: panic: %v", seed, r)
		}
	}()
	s := drawSeason(seed, 3, 10)
	c := chances{rand.New(rand.NewPCG(seed, 0x111d))}
	for i := range s.zones {
		z := &s.zones[i]
		z.spec.EmitterBias, z.spec.EmitterSpread, z.spec.Crop.SpreadPlants = c.between(-0.5, 0.4), c.between(0, 0.4), c.between(0, 0.4)
		z.spec.Substrate.BypassDry = c.between(0.1, 0.9)
		z.spec.Substrate.KsCMPerH *= []float64{0.02, 0.2, 1, 5}[c.IntN(4)]
		z.spec.StartSuctionCM = []float64{0.5, 5, 50, 400}[c.IntN(4)]
		z.spec.Crop.GroundM2 *= []float64{0.05, 0.5, 1, 2.5}[c.IntN(4)]
		every := []time.Duration{1, 5, 15, 30, 60, 180}[c.IntN(6)] * time.Minute
		for j := range z.spec.Probes {
			p := &z.spec.Probes[j]
			p.Every, p.Noise, p.Bias, p.Dropout = every, c.between(0, 0.03), 0.1*c.NormFloat64(), c.between(0, 0.5)
			p.Resolution = []float64{0.0001, 0.01, 0.05}[c.IntN(3)]
			p.PerK = 0.002 * c.NormFloat64()
			p.Late, p.LateBy, p.Doubled = c.between(0, 0.3), time.Duration(c.IntN(90))*time.Minute, c.between(0, 0.2)
		}
		z.approve = time.Duration(c.IntN(20*60)) * time.Minute
		for range c.IntN(3) {
			s.faults = append(s.faults, simulator.Fault{Kind: ailments[c.IntN(len(ailments)-1)].kind, Zone: i, From: s.start.Add(time.Duration(c.IntN(9*24*60)) * time.Minute),
				Severity: c.between(0.1, 1), Container: -1, VolumeML: z.spec.Container.VolumeML() * 0.05})
		}
	}
	marks, err := playSeason(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range marks {
		if m.infinite > 0 {
			t.Errorf("seed %d zone %d: %d numbers that are none", seed, m.zone, m.infinite)
		}
	}
}
