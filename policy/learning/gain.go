package learning

import "math"

// The zone's water content is what its probes make of the whole container, and
// probes sit at one height: roots drink from the top and drippers water it, so
// that a probe lower down sees less of either than the container's mean does,
// and one in a shallow slab may see more. Gain is how much the water content
// seen moves for one that the whole container makes. It leaves the water content
// what is seen, and turns it into volumes: a fall of the water content by x is
// x*V/gain of water, V being the container's volume.
//
// With volumes reported, the way up from a night's low and a whole day of little
// drain tell gain times capture; priors part the two. A day of much drain tells
// neither: water that is missing from it has drained. Where drain is reported, it
// tells the gain.

var gainPace = pace{low: 0.6, high: 1.6, drift: 0.004, allowance: 0.012, known: 0.2, doubt: 0.08}

// Priors of the soil. Capture: of a wettable substrate 2 to 10 % run past it, and
// more of a dry one (common practice, no source). Gain: roots dry the top first, so
// that a probe at a third to half of the height sees a little less than the mean;
// measured slabs gave 0.91 to 0.98 (Hemming et al. 2020, their irrigation less
// drain), layered containers in simulation 0.94 with a spread of 0.13 between
// substrates.
const (
	captureMean, captureSD = 0.93, 0.05
	gainMean, gainSD       = 0.95, 0.13
)

// beginSoil sets the priors of what the substrate does with water.
func (z *Zone) beginSoil() {
	z.Capture.reset(captureMean, captureSD)
	z.Gain.reset(gainMean, gainSD)
}

// SeenElsewhere takes that the only probe of the zone has another place: what is known of the
// water is as it was, and how much of it is seen is not known.
func (z *Zone) SeenElsewhere() {
	z.Gain.reset(gainMean, gainSD)
	z.Climb = Climb{}
}

// Volume is the water that a rise of the water content seen by 1 would take, mL
// per container.
func (z *Zone) Volume(c *Constants) float64 {
	if !(z.Gain.Mean > 0) {
		return c.VolumeML
	}
	return c.VolumeML / z.Gain.Mean
}

// Held is a water content, m3/m3, less what a probe near an emitter shows too
// much of a watering that it still feels: of a known volume no more can be there
// than was given.
func (z *Zone) Held(c *Constants, level float64) float64 {
	s := &z.Shots
	if s.StartMs == 0 || !s.Known || !(s.GivenML > 0) {
		return level
	}
	kept := math.Min(z.Capture.Mean+z.Capture.SD(), 1) * s.GivenML
	most := s.Before + (kept-z.Open.ModelML)/z.Volume(c)
	most = math.Max(most, math.Max(s.Before-z.Open.ModelML/z.Volume(c), 0))
	return math.Min(level, most)
}

// gained keeps what was seen while the gain moves from before: falls of the
// water content stay, the water that they stand for does not.
func (z *Zone) gained(before float64) {
	if !(before > 0) || before == z.Gain.Mean {
		return
	}
	more := before / z.Gain.Mean
	z.Rates.Day.Mean += math.Log(more)
	z.Rates.Night.Mean += math.Log(more)
	z.Open.ModelML *= more
	z.Open.CarryML *= more
	z.Demands.DayUptake *= more
	z.Demands.Expected *= more
}

// byDrain learns the gain from a day whose drain was reported: what was given
// and did not drain was drunk or is still there, both of them seen through the
// gain.
//
//	gain*(given - drain) = fall that was drunk*V + rise*V
//
// It says nothing where the gauge contradicts the balance beyond what gains
// explain: a tray may be blocked, or missing.
func (z *Zone) byDrain(c *Constants, then, uptake, given float64) {
	reported, ok := z.drained24h()
	if !ok {
		return
	}
	kept := given - reported
	held := uptake + z.Volume(c)*(z.Shown()-then)
	if kept < 0.02*c.VolumeML || held < 0.3*kept || held > 2*kept || given < 0.03*c.VolumeML {
		return
	}
	before := z.Gain.Mean
	z.Gain.take(before*held/kept, drainGainSD, &gainPace)
	z.gained(before)
}

// drainGainSD is how far off one look at a day's drain is, as a share: emitters
// are within some 5 % of what is told of them, and looks overlap.
const drainGainSD = 0.15
