package learning

import "math"

// Bins of a day of the demand's course: half hours of UTC.
const (
	courseBins = 48
	binMs      = 30 * minuteMs
)

// Course is the usual daily course of demand: of the climate's where it is
// told, else the zone's own, learned from when it drinks, with a mean of 1.
type Course struct {
	Bins [courseBins]float32
	Seen uint64 // bit i: bin i has been seen
	// Quiet is the day since 1970 on which a bin last had a stretch well away
	// from any watering.
	Quiet [courseBins]uint16
	Bent  [courseBins]uint8 // how often a bin has been bent
}

func binOf(at int64) int { return int(mod(at, dayMs) / binMs) }

// whole tells whether every bin has been seen.
func (c *Course) whole() bool { return c.Seen == 1<<courseBins-1 }

// mean is the mean demand of the bins seen, 1 before any.
func (c *Course) mean() float64 {
	sum, n := 0.0, 0
	for i, d := range c.Bins {
		if c.Seen>>i&1 == 1 {
			sum += float64(d)
			n++
		}
	}
	if n == 0 || sum <= 0 {
		return 1
	}
	return sum / float64(n)
}

// at is the usual demand at a time of day.
func (c *Course) at(at int64) float64 {
	if i := binOf(at); c.Seen>>i&1 == 1 {
		return float64(c.Bins[i])
	}
	return c.mean()
}

// atWith is at, with the mean for bins not seen worked out beforehand.
func (c *Course) atWith(at int64, mean float64) float64 {
	if i := binOf(at); c.Seen>>i&1 == 1 {
		return float64(c.Bins[i])
	}
	return mean
}

// follow is how much of a new day enters the usual course: the last two days
// make up three quarters of it. Tomorrow's weather is much like today's.
const follow = 0.5

// learn takes the climate's mean demand of a bin.
func (c *Course) learn(at int64, demand float64) {
	i := binOf(at)
	if c.Seen>>i&1 == 0 {
		c.Bins[i] = float32(demand)
		c.Seen |= 1 << i
		return
	}
	c.Bins[i] += float32(follow * (demand - float64(c.Bins[i])))
}

// bend moves the zone's own course where a block drank more or less than
// believed by the share v with variance r, and returns the part of v that the
// course took. It does nothing where the climate tells the course. The first
// days bend it most; later a day moves a bin by less than 5 %.
func (c *Course) bend(climate bool, from, to int64, v, r float64) float64 {
	if climate {
		return 0
	}
	if c.Seen == 0 {
		for i := range c.Bins {
			c.Bins[i] = 1
		}
		c.Seen = 1<<courseBins - 1
	}
	const bound = 0.5
	v = math.Min(math.Max(v, -bound), bound)
	taken, n := 0.0, 0.0
	for at := from - mod(from, binMs); at < to; at += binMs {
		i := binOf(at)
		p := courseVar / (1 + float64(c.Bent[i]))
		k := math.Max(p/(p+r), 0.08)
		if c.Bent[i] < 255 {
			c.Bent[i]++
		}
		c.Bins[i] = min(max(c.Bins[i]*float32(1+k*v), 0.02), 50)
		taken += k * v
		n++
	}
	return taken / n
}

// courseVar is the variance of a bin about a flat course before anything is
// known of it: a course between night and noon.
const courseVar = 0.25

// level brings the mean of the zone's own course back to 1 and returns ln of
// what it was.
func (c *Course) level() float64 {
	m := c.mean()
	for i := range c.Bins {
		c.Bins[i] /= float32(m)
	}
	return math.Log(m)
}
