package sensing

import "math/bits"

// huberReach is how far from the centre a probe pulls in full, m3/m3. One bad
// probe of three moves the zone by at most half of it: at the solution the two
// good ones, pulling in proportion, balance a pull of huberReach.
const huberReach = 0.003

// location returns Huber's robust centre of values of the mask with a given
// reach: the solution of sum psi(x - m) = 0, psi(r) = r held within the reach.
// Huber (1964). It starts from the median, so it is the mean where all lie within
// the reach, and near the median where they do not. No value: ok is false.
func location(values *[MaxProbes]float64, mask uint16, reach float64) (centre float64, n int) {
	var sorted [MaxProbes]float64
	for rest := mask; rest != 0; rest &= rest - 1 {
		v := values[bits.TrailingZeros16(rest)]
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
	if sorted[n-1]-sorted[0] <= reach { // all pull in proportion
		sum := 0.0
		for _, v := range sorted[:n] {
			sum += v
		}
		return sum / float64(n), n
	}
	for range 60 {
		pull, slope := 0.0, 0
		for _, v := range sorted[:n] {
			r := v - centre
			held := min(max(r, -reach), reach)
			if held == r {
				slope++
			}
			pull += held
		}
		step := pull / float64(max(slope, 1))
		// a Newton step may leave the range when few pull in proportion
		centre = min(max(centre+step, sorted[0]), sorted[n-1])
		if abs(step) < 1e-10 {
			break
		}
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
