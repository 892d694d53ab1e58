package learning

import (
	"math"
	"testing"
)

// gauged plays a pot whose probe shows a share of what the container does, and whose gauge
// catches a share of what drains. It returns whether the gauge was believed at the end of
// each day, and the uptake of the last day over the true one.
func gauged(seed uint64, sees, catches, trigger float64, days int) (believed []bool, uptake float64) {
	p, g := newPot(seed), &grower{trigger: trigger, ml: 250}
	p.sees = sees
	c := potConstants(p)
	var z Zone
	told, drunk := 0.0, 0.0
	for range days {
		drunk = p.drunk
		for range 24 {
			play(p, g, &z, c, 1./24, 5*minuteMs, true, true, nil)
			z.Drain(c, p.at, catches*(p.spilt-told))
			told = p.spilt
		}
		believed = append(believed, z.Sums24h().DrainReported)
	}
	return believed, z.Sums24h().UptakeML / (p.drunk - drunk)
}

// Probes that see six tenths of the drinking make drain of the rest, and a good gauge beside
// them reports a third of that from the first day on. It is the gain that is not known then,
// not the gauge: it is believed within days, and the uptake is the true one.
func TestAGaugeIsBelievedBeforeTheGainIsKnown(t *testing.T) {
	for _, seed := range []uint64{31, 32, 33} {
		for _, trigger := range []float64{0.56, 0.57, 0.585} {
			believed, uptake := gauged(seed, 0.6, 1, trigger, 9)
			if !believed[8] || math.Abs(uptake-1) > 0.15 {
				t.Errorf("seed %d, trigger %.3f: believed %v, uptake %.2f of the true one", seed, trigger, believed, uptake)
			}
		}
	}
}

// A tray that is missing tells of no drain, and that is no sight of the gain.
func TestAMissingTrayIsNoSightOfTheGain(t *testing.T) {
	for _, seed := range []uint64{31, 32, 33} {
		believed, uptake := gauged(seed, 0.95, 0.001, 0.59, 9)
		if believed[8] || math.Abs(uptake-1) > 0.15 {
			t.Errorf("seed %d: believed %v, uptake %.2f of the true one", seed, believed, uptake)
		}
	}
}
