package learning

import "math"

// Bins of a day of the demand's course: half hours of UTC.
const (
	courseBins = 48
	binMs      = 30 * minuteMs
)

// Course is the usual daily course of demand: of the climate's where it is
// told, else the zone's own, learned from when it drinks, with a mean of 1.
//
// Of a climate's course the bins that have not been seen hold what is usual there.
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

// usualDemand is the demand of a day that has not been seen, mm/h in its mean: 3 mm in
// 24 h, the middle of the 2 to 4 mm a day of a moderate humid climate (FAO-56, table 2,
// reference evapotranspiration). usualNight is what nights ask for of what days do: in the
// dark air asks for a tenth to a third (common practice, no source).
const (
	usualDemand = 3.0 / 24
	usualNight  = 0.2
)

// begin fills the course of a climate of which nothing has been seen: one that first
// speaks by night says nothing of the day to come, nor one that speaks by day of the
// night.
func (c *Course) begin(k *Constants) {
	*c = Course{}
	length := float64(mod(int64(k.DayEndS)-int64(k.DayStartS), 86400)) / 86400
	if length == 0 {
		length = 1
	}
	day := usualDemand / (length + usualNight*(1-length))
	for i := range c.Bins {
		middle := (int64(i)*binMs + binMs/2) / 1000
		c.Bins[i] = float32(usualNight * day)
		if k.DayStartS == k.DayEndS || float64(mod(middle-int64(k.DayStartS), 86400)) < length*86400 {
			c.Bins[i] = float32(day)
		}
	}
}

// mean is the mean demand of a day, 1 before any is known.
func (c *Course) mean() float64 {
	sum := 0.0
	for _, d := range c.Bins {
		sum += float64(d)
	}
	if sum <= 0 {
		return 1
	}
	return sum / courseBins
}

// at is the usual demand at a time of day.
func (c *Course) at(at int64) float64 { return c.atWith(at, c.mean()) }

// atWith is at, with the mean worked out beforehand: it stands for the course of a zone of
// its own that has not been bent yet.
func (c *Course) atWith(at int64, mean float64) float64 {
	if i := binOf(at); c.Bins[i] > 0 || c.Seen>>i&1 == 1 {
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
		c.scale(float64(c.Bins[i]), demand)
		c.Bins[i] = float32(demand)
		c.Seen |= 1 << i
		return
	}
	c.Bins[i] += float32(follow * (demand - float64(c.Bins[i])))
}

// scale moves what is taken for usual of the bins not seen by what one that has come
// to be seen asks for instead of what was usual: a dull day, or one under lamps, is so in
// all its hours. A quarter of a usual day stands against it, so that the little that nights
// ask for moves it little.
func (c *Course) scale(usual, demand float64) {
	known := 0.25 * usualDemand * courseBins
	for i, d := range c.Bins {
		if c.Seen>>i&1 == 1 {
			known += float64(d)
		}
	}
	by := float32((known + demand) / (known + usual))
	for i := range c.Bins {
		if c.Seen>>i&1 == 0 {
			c.Bins[i] *= by
		}
	}
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
