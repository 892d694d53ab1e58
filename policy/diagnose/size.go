package diagnose

import (
	"math"

	"rhizostat/policy/advice"
)

// Size holds what the water content does against the volume that the container is told to have.
// Over days
//
//	times = (given - drained) / (V (change of the water content) + gain * uptake)
//
// is the container's volume over the one that is told, V: what was given and did not drain is
// what the water content showed, and uptake is a fall times V over the gain. What is kept is
// without V, so that a site file that is corrected ends the doubt. Where drain is
// not told, shots that lift the water content by more than all of their water could tell of
// a smaller container; those that lift it by less may have drained.
type Size struct {
	KeptML      float32 // leaky sum over days
	Seen        float32 // what the water content made of it, m3/m3, likewise
	UptakeSD    float32 // how far off the uptake in Seen may be, of its ln
	Rise        float32 // leaky mean of ln rise of a shot per mL
	Days, Rises uint8   // that were counted
	AskedMs     int64   // when people were last sent to see, 0: never
}

// All sizes here: common practice, no source, but for the first.
const (
	// mostTimes is how many times larger or smaller a container must show itself before its
	// size is doubted: probes see 0.6 to 1.6 times of what the whole container does.
	mostTimes = 1.75
	// sizeDays is how many days it takes, and sizeFades what a day leaves of those before it.
	sizeDays, sizeFades = 4, 0.85
	// keptShare of the container's volume is what they must have brought.
	keptShare = 0.1
	// seesSD is how far what probes see of the whole container strays, as a standard deviation
	// of its ln: mostTimes is more than two of them. otherSD is how far from the one that is
	// told another container lies, and otherPrior the log odds of another before anything is
	// seen: one zone in five is told wrong while a site is set up (all three common practice,
	// no source).
	seesSD, otherSD = 0.24, 1.1
	otherPrior      = -1.4
	// gaugeLives is the share of what is given that a drain gauge must tell of to be believed
	// that the rest did not drain.
	gaugeLives = 0.002
)

// day takes a finished day; begin is the water content that it began with.
func (s *Size) day(f *Features, in *Inputs, begin float64) {
	if f.Hours < wholeHours {
		return
	}
	w, gain := &in.Water, in.Learned.gain()
	if w.DrainTold && w.Reports && (w.GivenML24h == 0 || w.Drain24hML > gaugeLives*w.GivenML24h) {
		kept := w.GivenML24h - w.Drain24hML
		seen := in.WaterContent - begin + gain*in.Learned.UptakeML24h/in.VolumeML
		s.KeptML, s.Seen = sizeFades*s.KeptML+float32(kept), sizeFades*s.Seen+float32(seen)
		s.UptakeSD = float32(in.Learned.RateSD)
		s.Days = min(s.Days+1, 250)
	}
	if f.Known[Rise] {
		s.Rises = min(s.Rises+1, 250)
		s.Rise += float32(math.Max(1/float64(s.Rises), 1-sizeFades)) * (f.Value[Rise] - float32(math.Log(in.VolumeML)) - s.Rise)
	}
}

// times is how many times the volume that is told the container shows; false where it is
// within what probes make of it and the uptake may be off by, or not known.
func (s *Size) times(volumeML float64) (float64, bool) {
	x, most, kept, seen := 1.0, mostTimes, float64(s.KeptML), float64(s.Seen)*volumeML
	switch {
	case s.Days >= sizeDays && kept > keptShare*volumeML && seen > kept/10:
		x, most = kept/seen, mostTimes*math.Exp(float64(s.UptakeSD))
	case s.Days == 0 && s.Rises >= sizeDays:
		x = math.Min(math.Exp(-float64(s.Rise))/volumeML, 1)
	}
	return x, x > most || x < 1/most
}

// probability is how likely the container is another one than is told, 0 to 1, or the water
// another than is reported: the odds of a ratio as seen, both of which scatter about what they
// are as normal errors of its ln, that of the container that is told less far.
func (s *Size) probability(volumeML float64) float64 {
	x, _ := s.times(volumeML)
	told := seesSD
	if s.Days >= sizeDays {
		told = math.Hypot(seesSD, float64(s.UptakeSD))
	}
	other, e := math.Hypot(told, otherSD), math.Log(x)
	odds := otherPrior + e*e/2*(1/(told*told)-1/(other*other)) + math.Log(told/other)
	return 1 / (1 + math.Exp(-odds))
}

// VolumeDoubt is how likely the container is another one than is told to have volumeML, 0 to 1,
// or its water another than is reported. It is a probability to go with what SayVolume says.
func (m *Memory) VolumeDoubt(volumeML float64) float64 { return m.Size.probability(volumeML) }

// sizes takes a finished day. One on which water does not arrive begins it anew: what was
// counted before the fault was found is the fault's, and must not be the container's once it
// is mended.
func (m *Memory) sizes(f *Features, in *Inputs, begin float64, atMs int64) {
	if m.NoWater(atMs) > alarm {
		m.Size = Size{AskedMs: m.Size.AskedMs}
		return
	}
	m.Size.day(f, in, begin)
}

// SayVolume doubts the volume that the container is told to have, mL; false where nothing
// speaks against it, or where water is already said not to arrive or the zone to have been moved, of
// which people are asked by themselves.
func (m *Memory) SayVolume(volumeML float64) (advice.Reason, bool) {
	x, doubted := m.Size.times(volumeML)
	moved, _ := m.Moved(m.Belief.AtMs)
	switch {
	case !doubted, x > 1 && (m.NoWater(m.Belief.AtMs) > alarm || moved >= elsewhereSaid):
		return advice.Reason{}, false
	case x > 1:
		return advice.Say("container-larger", advice.Share(1/x), advice.Volume(volumeML), advice.Volume(x*volumeML)), true
	}
	return advice.Say("container-smaller", advice.Number(math.Round(10/x)/10), advice.Volume(volumeML), advice.Volume(x*volumeML)), true
}
