package forecast

import (
	"math"
	"time"

	"rhizostat/policy/learning"
)

// Build freezes what is known of a zone into a situation of the given number
// of steps from atMs on, reusing the memory of s. ErrorSD is left nil: Record's
// Spread fills it from the scores. It panics before a zone's first reading.
func Build(z *learning.Zone, c *learning.Constants, atMs int64, steps int, s *Situation) {
	level, sd, ok := z.WaterContent()
	if !ok {
		panic("forecast: a zone without a reading has no situation")
	}
	s.At = time.UnixMilli(atMs).UTC()
	// Reported water that is still coming in is as good as there.
	coming := z.Capture.Mean * z.Shots.ComingML / z.Volume(c)
	s.WaterContent, s.WaterContentSD = z.Held(c, math.Min(level+coming, math.Max(level, c.MaxMean))), sd
	s.VolumeML = z.Volume(c)
	s.Capacity, s.CapacitySD = z.Capacity.Mean, z.Capacity.SD()
	s.Capture, s.CaptureSD = z.Capture.Mean, z.Capture.SD()
	s.DrainTimeS = math.Exp(z.DrainLog.Mean)
	s.UptakeFullAt, s.UptakeNoneAt = c.StressMean, c.MinMean
	s.Ceiling = c.MaxMean
	s.UptakeRelSD = z.UptakeRelSD()
	s.ErrorSD = nil
	s.UptakeML = grow(s.UptakeML, steps)
	z.UptakeSteps(c, atMs, Step.Milliseconds(), s.UptakeML)
}
