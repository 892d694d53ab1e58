package sensing

import (
	"math"
	"math/rand/v2"
	"testing"
)

// How far the level may be off is honest for probes that are off by 0.03 each, however
// few they are: two that happen to agree may both be off.
func TestLevelSDIsHonest(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for n := 1; n <= 5; n++ {
		const draws = 4000
		var squares, normalised float64
		for range draws {
			var offs [MaxProbes]float64
			mean := 0.0
			for i := range offs[:n] {
				offs[i] = 0.03 * rng.NormFloat64()
				mean += offs[i] / float64(n)
			}
			c := Consensus{Count: uint8(n)}
			for i := range offs[:n] {
				*c.Probes.At(i) = Opinion{Known: true, Far: float32(offs[i] - mean)}
			}
			sd := c.LevelSD()
			squares += sd * sd / draws
			normalised += mean * mean / (sd * sd) / draws
		}
		// its mean square is the variance of a mean of n, by hand: ((n-1) s2 + s2)/n2
		if want := 0.03 * 0.03 / float64(n); math.Abs(squares/want-1) > 0.06 {
			t.Errorf("%d probes: mean square %.6f; expected %.6f", n, squares, want)
		}
		if normalised > 1.5 {
			t.Errorf("%d probes: squared over variance %.2f; expected about 1", n, normalised)
		}
	}
	if sd := (&Consensus{}).LevelSD(); sd != loneLevel {
		t.Errorf("no probe: %v; expected %v", sd, loneLevel)
	}
}
