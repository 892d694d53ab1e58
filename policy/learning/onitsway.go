package learning

import "math"

// Lateness is how long after its report a watering has come to the probes: from there
// to the top of the water content.
type Lateness struct {
	MeanMs    float32
	Waterings uint16 // seen, at most lateWaterings
	MissingMs int64  // report of the first watering since the last that came, 0: it came
}

const (
	// mostOnItsWayMs is how long reported water may be on its way to a probe that lies
	// deep or far from the emitter, and arrivedMs how long after a top of the water
	// content it has come (common practice, no source: an hour, and ten minutes).
	mostOnItsWayMs = hourMs
	arrivedMs      = 10 * minuteMs
	// lateWaterings is the memory of the mean, and knownWaterings those that make it.
	lateWaterings, knownWaterings = 20, 3
)

// ends takes the watering that ends, of which so much was to show, m3/m3.
func (l *Lateness) ends(s *ShotState, shows float64) {
	switch {
	case !s.Known:
		return
	case s.Top-s.Before >= leastCame*shows:
		l.MissingMs = 0
	case l.MissingMs == 0:
		l.MissingMs = s.ReportMs
	}
	if s.SeenMs == 0 {
		return
	}
	l.Waterings = min(l.Waterings+1, lateWaterings)
	after := min(max(s.TopMs-s.ReportMs, 0), mostOnItsWayMs)
	l.MeanMs += (float32(after) - l.MeanMs) / float32(l.Waterings)
}

// mostMs is how long water may be on its way in this zone.
func (l *Lateness) mostMs() int64 {
	if l.Waterings < knownWaterings {
		return mostOnItsWayMs
	}
	return min(int64(1.5*l.MeanMs)+arrivedMs, mostOnItsWayMs)
}

// believed tells whether water may be on its way: nothing has come for longer than it
// takes where emitters are blocked.
func (l *Lateness) believed(atMs int64) bool {
	return l.MissingMs == 0 || atMs-l.MissingMs <= l.mostMs()
}

// onItsWay is how much of the last hour's reported water a water content of wc need
// not show yet, m3/m3. Taken at its word, a probe that water reaches late makes the
// container drier than it is, and a controller that waters by it gives the same shot
// again, and again.
func (z *Zone) onItsWay(c *Constants, wc float64) float64 {
	s := &z.Shots
	if s.StartMs == 0 || !s.Known || z.AtMs-s.ReportMs > z.Late.mostMs() || s.SeenMs != 0 && z.AtMs-s.TopMs > arrivedMs {
		return 0
	}
	if !z.Late.believed(z.AtMs) {
		return 0
	}
	from := z.AtMs - mostOnItsWayMs
	then, ok := z.History.LevelAt(from)
	if !ok {
		then = s.Before
	}
	came := z.Capture.Mean * z.History.GivenBetween(from, z.AtMs+HistoryBin) / z.Volume(c)
	return math.Max(0, came-(wc-then))
}

// shows takes a rise of the water content, m3/m3, off the reported water that has still to come
// in: a probe near an emitter shows a shot before it is told of, and what has come comes no
// second time.
func (z *Zone) shows(c *Constants, rise float64) {
	z.Shots.ComingML = math.Max(0, z.Shots.ComingML-z.cameML(c, rise))
}

// cameML is the water that a rise of the water content takes to come, mL.
func (z *Zone) cameML(c *Constants, rise float64) float64 {
	return math.Max(0, rise) * z.Volume(c) / math.Max(z.Capture.Mean, capturePace.low)
}
