package sensing

import "math"

// huberReach is how far from the centre a probe pulls in full, m3/m3. One bad
// probe of three moves the zone by at most half of it: at the solution the two
// good ones, pulling in proportion, balance a pull of huberReach.
const huberReach = 0.008

// location returns Huber's robust centre of values of the mask with a given
// reach: the solution of sum psi(x - m) = 0, psi(r) = r held within the reach.
// Huber (1964). It starts from the median, so it is the mean where all lie within
// the reach, and near the median where they do not. No value: ok is false.
func location(values *[MaxProbes]float64, mask uint16, reach float64) (centre float64, n int) {
	var sorted [MaxProbes]float64
	for i, v := range values {
		if mask&(1<<i) == 0 {
			continue
		}
		j := n
		for j > 0 && sorted[j-1] > v {
			sorted[j] = sorted[j-1]
			j--
		}
		sorted[j] = v
		n++
	}
	if n == 0 {
		return 0, 0
	}
	centre = median(sorted[:n])
	if n < 3 {
		return centre, n
	}
	for range 60 {
		pull, slope := 0.0, 0
		for _, v := range sorted[:n] {
			r := v - centre
			if math.Abs(r) <= reach {
				slope++
			}
			pull += math.Min(math.Max(r, -reach), reach)
		}
		step := pull / float64(max(slope, 1))
		if math.Abs(step) < 1e-12 {
			break
		}
		// a Newton step may leave the range when few pull in proportion
		centre = math.Min(math.Max(centre+step, sorted[0]), sorted[n-1])
	}
	return centre, n
}

// median of sorted values; of an even number the mean of the middle two.
func median(sorted []float64) float64 {
	n := len(sorted)
	if n%2 == 1 {
		return sorted[n/2]
	}
	return (sorted[n/2-1] + sorted[n/2]) / 2
}
