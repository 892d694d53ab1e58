package diagnose

import "math"

// From which water contents shots usually begin: dry substrate lets water run past, and a
// container that is nearly full has no room for it.

// learnLevel takes the water content that a window begins from.
func (t *ShotTest) learnLevel() {
	t.Seen = min(t.Seen+1, 10000)
	w := math.Max(1/float64(t.Seen), 0.03)
	d := float64(t.Zone - t.From)
	t.From += float32(w * d)
	t.FromVar = float32((1 - w) * (float64(t.FromVar) + w*d*d))
	if t.Dry {
		if t.DryFrom == 0 {
			t.DryFrom = t.Zone
		}
		t.DryFrom += 0.05 * (t.Zone - t.DryFrom)
	}
}

const (
	// dryPace is the weight of a new window in what is usual of dry substrate, which
	// changes as it dries out further or comes back.
	dryPace = 0.1
	// dryShots of dry windows of which more than dryShows stays make a response to hold the
	// next against, unless it begins more than dryDeeper, m3/m3, below them. On 76 simulated
	// facilities without faults windows judged so strayed as those in the band do: 2 in 100
	// by more than two spreads below what was usual, 2 in 1,000 by more than three.
	dryShots, dryShows, dryDeeper = 12, 0.4, 0.03
)

// knowsDry tells a window in dry substrate of a zone that is watered so again and again, and
// that some of the water stays in: a zone whose probes read low, or one that is kept dry.
// Elsewhere dry substrate repels water, and that is no fault of what brings it.
func (t *ShotTest) knowsDry() bool {
	u := &t.Usual[2]
	return u.Windows >= dryShots && u.Mean > dryShows && t.Zone > t.DryFrom-dryDeeper
}

// dry tells a water content well below the band, or in a zone that is kept low one below the
// band and far below those that shots usually begin from. Substrate in its band takes water.
func (t *ShotTest) dry(in *Inputs, from float64) bool {
	if from < in.refill()-0.03 {
		return true
	}
	return from < in.refill() && t.Seen >= leastShots && from < float64(t.From)-math.Max(0.06, 4*math.Sqrt(float64(t.FromVar)))
}

// full tells a window that begins above those usual here, where the container is
// nearly as full as it gets: how much of a shot finds room there hangs on a few
// thousandths of capacity.
func (t *ShotTest) full(in *Inputs, room, given float64) bool {
	if t.Seen < 4 {
		return room*given-t.UptakeML < given+0.01*in.VolumeML
	}
	return float64(t.Zone) > float64(t.From)+math.Min(math.Max(math.Sqrt(float64(t.FromVar)), 0.01), 0.015)
}
