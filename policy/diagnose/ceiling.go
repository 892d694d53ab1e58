package diagnose

import (
	"math"

	"rhizostat/policy/advice"
)

// Ceiling tells a container that is full from one to which less comes. It holds the
// day's waterings beside each other: the water contents that they begin from, and those
// that they end at. A container that is full ends at the same wherever it began (a
// slope of 0), whatever it is full at; one that is not, and whose waterings come in part or
// run past, ends as much higher as it began higher (a slope of 1).
type Ceiling struct {
	Sets                                float32
	From, FromSum, ToSum, FromTo, From2 float32 // m3/m3; sums of what exceeds From
}

const (
	// fullSlope is the slope below which a day's waterings tell a full container, and
	// openSlope that above which they tell one that is not. On 34 simulated facilities
	// the slope behind blocked emitters and channels was 0.8 to 1.2 on nine days of ten,
	// and 0 to 0.7 on eight in containers that roots had filled and that were watered as
	// before; in sound ones it is either, by how much they are given.
	fullSlope, openSlope = 0.6, 0.8
	// leastNoise is the least that a level is taken to err by, m3/m3.
	leastNoise = 0.001
	// surestSlope is the most that a slope may be uncertain by to tell anything.
	surestSlope = 0.15
	// mostSlope bounds what the slope of a day says against a cause, and mostOpen what one of
	// a container that is not full says against roots: they also let water run past.
	mostSlope, mostOpen = 2.5, 1.2
)

// take counts a watering.
func (c *Ceiling) take(from, to float64) {
	if c.Sets == 0 {
		c.From = float32(from)
	}
	x, y := float32(from)-c.From, float32(to)-c.From
	c.Sets++
	c.FromSum += x
	c.ToSum += y
	c.FromTo += x * y
	c.From2 += x * x
}

// stops tells a watering that ends where its controller stops: by trigger all that reach it do,
// however much the container holds.
func (w *Water) stops(end float64) bool { return w.ByTrigger && end >= w.Trigger }

// slope is of the end over the beginning, by least squares, with its standard deviation
// where levels err by noise, m3/m3; false while the waterings began too much alike.
func (c *Ceiling) slope(noise float64) (slope, sd float64, ok bool) {
	n := float64(c.Sets)
	if n < 3 {
		return 0, 0, false
	}
	x, y := float64(c.FromSum)/n, float64(c.ToSum)/n
	spread := float64(c.From2) - n*x*x
	sure := spread - n*noise*noise
	if sure <= 0 {
		return 0, 0, false
	}
	slope = (float64(c.FromTo) - n*x*y) / sure
	return slope, 1.5 * noise / math.Sqrt(sure), true
}

// filled tells that the container was full in the day, and open that it never was; neither,
// if the waterings do not tell.
func (f *Features) filled() bool { return f.Slopes && f.Slope < fullSlope }
func (f *Features) open() bool   { return f.Slopes && f.Slope > openSlope }

// ceiling weighs the slope. A container that takes less of each watering
// because less comes, or because it runs past, is not full; one that roots have filled is.
// It only ever speaks against causes: sound containers have either slope.
func (f *Features) ceiling(sum *[causeCount]float64) {
	if !f.Slopes {
		return
	}
	s := math.Hypot(0.15, f.SlopeSD)
	off := math.Max(0, openSlope-f.Slope) / s
	for _, c := range [...]Cause{EmitterFault, EdgeChannelling, ValveStuckClosed} {
		sum[c] -= math.Min(off*off/2, mostSlope)
	}
	off = math.Max(0, f.Slope-fullSlope) / math.Hypot(s, 0.1)
	sum[RootBound] -= math.Min(off*off/2, mostOpen)
}

// finish makes the slope of the day that ends and begins the next.
func (t *ShotTest) finish(in *Inputs, f *Features, atMs int64) {
	f.LiftsLess = t.liftsLess(atMs, dayMs)
	slope, sd, ok := t.Ceiling.slope(math.Max(in.Learned.Noise, leastNoise))
	if ok && sd <= surestSlope {
		f.Slope, f.SlopeSD, f.Slopes = slope, sd, true
		t.Slope, t.SlopeMs = float32(slope), atMs
	}
	t.Ceiling = Ceiling{}
}

// ends tells in words what the last day's waterings say for a cause.
func (m *Memory) ends(c Cause, atMs int64) (advice.Reason, bool) {
	t, low := &m.Fast.Shots, &m.Baselines.Of[Rest]
	if t.SlopeMs == 0 || atMs-t.SlopeMs >= 2*dayMs {
		return advice.Reason{}, false
	}
	switch c {
	case RootBound:
		if t.Slope < fullSlope && low.Days >= leastDays && !low.older(atMs, 2*dayMs) && low.Off < -1.2 {
			return advice.Say("ends-alike", advice.Water(float64(low.Now)), advice.Water(float64(low.Mean))), true
		}
	case EmitterFault, EdgeChannelling:
		if t.Slope > openSlope {
			return advice.Say("ends-higher"), true
		}
	}
	return advice.Reason{}, false
}
