package diagnose

import (
	"math"

	"rhizostat/policy/sensing"
)

// Fast is evidence of faults that must be told within a day: what comes of each
// shot, whether the zone falls while nobody waters it, and the probes.
type Fast struct {
	VolumeML, Capacity, Noise float32
	Reports                   bool
	Speaks                    uint8 // probes that are well
	Shots                     ShotTest
	Recently                  Recently
	Fall                      FallWatch
	Kept                      KeptWatch
	Awaited                   AwaitedWatch
	Unreported                Unreported
	Lifted                    Lifted
	HighMs                    int64 // when the zone last was as high as standing water is
	Rises                     RiseWatch
	Dry                       DryWatch
	Wet                       WetWatch
	Probes                    sensing.Each[ProbeWatch]
	Round                     Round
	Drifts                    Drifts
	WorstProbe                uint8 // 1 + the probe that a sensor or emitter fault is seen at, 0: none
	WorstHealth               uint8
	LookedMs                  int64   // when a person last said that the probes are well, or moved one
	WorstStep                 Stepped // what speaks against that probe, if it is well otherwise
}

// Unreported is the newest watering that nobody reported.
type Unreported struct {
	AtMs    int64
	Rise    float32 // m3/m3
	StaysAt float32 // water content at which it stays, as no water does, m3/m3; 0: it does not
	Quick   bool    // it came at once, and whether it stays is not judged yet
}

// look takes the zone as it is.
func (f *Fast) look(in *Inputs, atMs int64, base *Baselines, b *Belief) {
	f.VolumeML, f.Capacity, f.Noise = float32(in.VolumeML), float32(in.Learned.Capacity), float32(in.Learned.Noise)
	f.Reports, f.Speaks = in.Water.Reports, 0
	for i := range in.Probes[:in.ProbeCount] {
		if in.Probes[i].Heard && in.Probes[i].Health.Usable() {
			f.Speaks++
		}
	}
	f.still(in, base)
	if in.Current {
		f.shots(in, atMs, base, b)
		f.Rises.look(f, in, atMs, b)
		f.stays(in, atMs, base, b)
		f.Lifted.look(in.WaterContent, atMs)
		f.airs(in, atMs, b)
		f.Fall.Less = f.Shots.liftsLess(atMs, 2*dayMs)
		f.Fall.look(in, &f.Recently, atMs, base, b, float64(f.Lifted.Up))
		f.Awaited.look(in, atMs, base, b)
		if base.Of[Peak].Days >= 2 { // the first days, a zone is only settling
			f.Kept.look(in, atMs, base, b, f.Shots.dry(in, f.Kept.Level))
		}
	}
	f.probes(in, atMs, base, b)
}

// airs ends what is said of standing water in a zone that has had air, and room below what it
// holds, for a whole day: the water has gone.
func (f *Fast) airs(in *Inputs, atMs int64, b *Belief) {
	switch {
	case f.HighMs == 0 || in.WaterContent >= math.Min(in.SaturationPoint, in.Learned.Capacity-airsLevel):
		f.HighMs = atMs
	case f.Wet.Days == 0 && atMs-f.HighMs >= dayMs:
		b.ease(Oversaturation, priors[Oversaturation].logOdds, airsStep)
	}
}

// airsLevel is how far below what it holds a zone has room that standing water would fill, m3/m3:
// as much as such water stands above it. airsStep is by how much each further look takes the
// log odds down: half a day of them ends what was certain (both common practice, no source).
const airsLevel, airsStep = 0.1, 0.05

// A zone's own baseline of its uptake may lie morePerRest above the rate that the balance
// has learned, in logarithms: water that nobody knows of makes the balance's fall within hours.
// Below it only lessPerRest. The baseline is of falls while no water comes, which where
// shots follow each other all day are those of early mornings, and then drainage from
// above may hide most of the fall: on 36 simulated facilities without faults it was beyond
// half a unit below in 3 hours of 100, down to 2.3, and above in less than one.
const morePerRest, lessPerRest = 1.5, 0.5

// lit tells day from night as the crop does: by the light, and where that is not told by the
// clock.
func (in *Inputs) lit() bool { return in.Daytime && !in.Dark }

// usualUptake is what this zone would take up now by its own baseline, mL/s, or
// by the balance before there is one: as its water content shows it.
func usualUptake(in *Inputs, base *Baselines) float64 {
	k := UptakeNight
	if in.lit() {
		k = UptakeDay
	}
	rate := in.Learned.RateLog + math.Log(in.Learned.gain())
	if u := &base.Of[k]; u.Days >= leastDays {
		rate = math.Min(math.Max(float64(u.Mean+u.Trend), rate-lessPerRest), rate+morePerRest)
	}
	return math.Exp(rate) * drawn(in)
}

// likelyUptake is the same of today, which what is found of a watering is held against: where
// no climate is told, what the crop drinks beyond its baseline on a bright day after dull ones
// would else be missing from each shot. The balance sees such a day by the falls between its
// waterings, which no fault of what brings the water makes faster.
func likelyUptake(in *Inputs, atMs int64, base *Baselines) float64 {
	usual := usualUptake(in, base)
	if atMs-in.ClimateMs <= climateMs {
		return usual
	}
	return math.Max(usual, math.Exp(in.Learned.RateLog)*in.Learned.gain()*drawn(in))
}
