package diagnose

import (
	"math"

	"rhizostat/policy/learning"
)

// Feature is a quantity of a finished day that causes of trouble move.
type Feature uint8

// The features. Logarithms are natural.
const (
	UptakeDay   Feature = iota // ln of uptake per demand by day, mL/s per unit of demand
	UptakeNight                // ... by night
	Droop                      // ln of uptake per demand, afternoon over morning
	Rise                       // ln of the water content's rise per mL of shots that had room, times the volume
	Plateau                    // level at the end of drainage, m3/m3
	Peak                       // highest level, m3/m3
	Rest                       // highest level at which water had come to rest, m3/m3
	Over                       // by how much the highest level stood above the highest at rest, m3/m3
	DrainTime                  // ln of the e-folding time of drainage, s, of a day on which some was seen
	RootCel                    // warmest substrate, less the air's warmest where that is told, Cel
	PoreEC                     // ln of mean pore EC, mS/cm
	Salt                       // ln of the mean salt index, which goes with pore EC; not of a day below the band
	SaltRise                   // ln of mean pore EC, or else of the salt index, over its least of the days before
	Drained                    // reported drain over given, beyond the share of it that found no room
	Account                    // reported drain, uptake and what was stored over given, less 1
	WetHours                   // hours saturated that are to be expected of the zone
	Scatter                    // mean distance of the probes from each other, m3/m3
	featureCount
)

const (
	morning = iota
	afternoon
	night
	partCount
)

// Part is one part of a day's uptake, seen while no water moved.
type Part struct {
	FallML    float32 // what the water content lost, mL
	Drawn     float32 // demand drawn meanwhile, demand units times s
	Seconds   float32
	Stretches int32 // in which it was seen: each has two ends that err
}

// looked is a look at a zone at rest, and the fall since the look before it.
type looked struct {
	Level   float32 // m3/m3
	FallML  float32
	Drawn   float32
	Seconds uint16
	Part    uint8 // 1 + the part of the day, 0: there was no look before it
}

// heldLooks wait until they count: a shot shows at the probes up to a quarter of an hour
// before anybody reports it, when its valve has closed.
const heldLooks = 3

// aims are the highest level at rest and the highest peak that plans aimed at, m3/m3; 0: none
// was in force.
type aims struct{ Rest, Peak float32 }

// Collector gathers a day. At its start it is empty, but for what was aimed at on the day before.
type Collector struct {
	LookMs      int64
	PairMs      int64 // of the last look at which no water moved, 0: it moved
	PairLevel   float64
	Paired      uint8             // 1 + the part of the day of the stretch of such looks, 0: none
	Held        [heldLooks]looked // newest first
	HeldN       uint8
	Parts       [partCount]Part
	ExpectedLog float32 // ln of uptake per demand as the balance believes, last seen
	Looks       int32
	RootMax     float32
	AirMax      float32
	ECSum       float32
	ECN         int32
	SaltSum     float32
	SaltN       int32
	Peak        float32
	Rest        float32 // 0: water never came to rest
	WetS        float32
	ScatterSum  float32
	ScatterN    int32
	RiseSum     float32 // of ln rise per mL
	RiseN       int32
	PlateauSum  float32
	PlateauN    int32
	DrybackSum  float32
	DrybackN    int32
	Lifted      float32 // most by which the zone stood higher than reported water explains, m3/m3
	Shots       int32
	Missed      int32
	VolumeML    float32
	Capacity    float32
	Noise       float32
	Begin       float32 // water content at the day's first look
	Asked       aims    // of plans in force
	AskedBefore aims    // of the day before: what they brought about stays into the next
	DrainFrom   float32 // ln of the e-folding time of drainage, as believed at the day's first look
}

// happened takes the events of an observation.
func (c *Collector) happened(ev *learning.Events) {
	if ev.MissedAtMs != 0 {
		c.Missed++
	}
	if ev.PlateauAtMs != 0 {
		c.PlateauSum += float32(ev.Plateau)
		c.PlateauN++
	}
	if ev.Dryback > 0 {
		c.DrybackSum += float32(ev.Dryback)
		c.DrybackN++
	}
	if ev.EndedAtMs == 0 {
		return
	}
	c.Shots++
	if x, _, ok := riseOf(ev, float64(c.VolumeML), float64(c.Capacity), float64(c.Noise)); ok {
		c.RiseSum += float32(x)
		c.RiseN++
	}
}

// riseOf is ln of the rise per mL times the volume, of a watering whose volume was
// reported, that had room for most of it and was large enough to be read, and the
// standard deviation that noise gives it.
func riseOf(ev *learning.Events, volume, capacity, noise float64) (x, sd float64, ok bool) {
	if ev.EndedAtMs == 0 || !ev.EndedKnown || ev.EndedML <= 0 || volume <= 0 {
		return 0, 0, false
	}
	up := ev.EndedML / volume
	if up < math.Max(0.005, 4*noise) || ev.EndedFrom+0.6*up > capacity-0.003 {
		return 0, 0, false
	}
	return math.Log(math.Max(ev.EndedRise/up, 0.05)), 1.5 * noise / up, true
}

const (
	stillMs   = 40 * 60 * 1000 // after a watering began, until its water has come to rest
	pairMs    = 16 * 60 * 1000 // two looks further apart make no pair
	overLevel = 0.01           // m3/m3 above capacity: what falls there is drainage
)

// rests reports whether the newest water has come to rest.
func (w *Water) rests(atMs int64) bool {
	return atMs-w.LastShotMs > stillMs && atMs-w.LastMs > stillMs && w.ValveOpenMs == 0
}

// look takes the zone as it is.
func (c *Collector) look(in *Inputs, atMs int64) {
	l := &in.Learned
	c.VolumeML, c.Capacity, c.Noise = float32(in.VolumeML), float32(l.Capacity), float32(l.Noise)
	dt := float64(0)
	if c.LookMs != 0 && atMs-c.LookMs <= pairMs {
		dt = float64(atMs-c.LookMs) / 1000
	}
	c.LookMs = atMs
	if c.Looks == 0 {
		c.DrainFrom, c.Begin = float32(l.DrainLog), float32(in.WaterContent)
	}
	c.Looks++
	c.ExpectedLog = float32(l.RateLog)
	c.Peak = max(c.Peak, float32(in.WaterContent))
	if t := in.Water.Target; t > 0 {
		c.Asked = aims{max(c.Asked.Rest, float32(t)), max(c.Asked.Peak, float32(t+in.Water.ShotRise))}
	}
	c.WetS += float32(dt * in.likelySaturated())
	if in.RootCel.Known {
		c.RootMax = max(c.RootMax, float32(in.RootCel.Value))
	}
	if in.AirCel.Known {
		c.AirMax = max(c.AirMax, float32(in.AirCel.Value))
	}
	if in.PoreEC.Known && in.PoreEC.Value > 0 {
		c.ECSum += float32(in.PoreEC.Value)
		c.ECN++
	}
	if in.SaltIndex.Known && in.SaltIndex.Value > 0 {
		c.SaltSum += float32(in.SaltIndex.Value)
		c.SaltN++
	}
	c.scatter(in)
	c.rest(in, atMs)
}

// scatter is the mean distance of usable probes from their mean.
func (c *Collector) scatter(in *Inputs) {
	sum, n := 0.0, 0.0
	for i := range in.Probes[:in.ProbeCount] {
		if p := &in.Probes[i]; p.Heard && p.Health.Usable() {
			sum += p.Mean
			n++
		}
	}
	if n < 2 {
		return
	}
	off := 0.0
	for i := range in.Probes[:in.ProbeCount] {
		if p := &in.Probes[i]; p.Heard && p.Health.Usable() {
			off += math.Abs(p.Mean - sum/n)
		}
	}
	c.ScatterSum += float32(off / n)
	c.ScatterN++
}

// rest takes a look at a zone to which no water moves: what it fell since the look before
// is uptake. It counts once it is known that no water was on its way unreported.
func (c *Collector) rest(in *Inputs, atMs int64) {
	w, l := &in.Water, &in.Learned
	if !w.rests(atMs) {
		c.PairMs, c.Paired, c.HeldN = 0, 0, 0
		return
	}
	if c.HeldN == heldLooks {
		c.count(&c.Held[heldLooks-1])
		c.HeldN--
	}
	copy(c.Held[1:], c.Held[:c.HeldN])
	c.HeldN++
	now := &c.Held[0]
	*now = looked{Level: float32(in.WaterContent)}
	if in.WaterContent >= l.Capacity+overLevel {
		c.PairMs = 0
		return
	}
	if c.PairMs != 0 && atMs-c.PairMs <= pairMs {
		seconds := float64(atMs-c.PairMs) / 1000
		now.FallML, now.Drawn = float32((c.PairLevel-in.WaterContent)*in.VolumeML), float32(drawn(in)*seconds)
		now.Seconds, now.Part = uint16(seconds), 1+uint8(partOf(in))
	}
	c.PairMs, c.PairLevel = atMs, in.WaterContent
}

// count books a look at rest.
func (c *Collector) count(l *looked) {
	c.Rest = max(c.Rest, l.Level)
	if l.Part == 0 {
		c.Paired = 0
		return
	}
	part := &c.Parts[l.Part-1]
	if c.Paired != l.Part {
		c.Paired = l.Part
		part.Stretches++
	}
	part.FallML += l.FallML
	part.Drawn += l.Drawn
	part.Seconds += float32(l.Seconds)
}

// drawn is the demand that the crop answers to, as the balance counts it.
func drawn(in *Inputs) float64 {
	return in.Learned.Limit * in.Learned.Uptake5ML / math.Exp(in.Learned.RateLog) / 300
}

func partOf(in *Inputs) int {
	switch {
	case !in.lit():
		return night
	case in.Morning:
		return morning
	}
	return afternoon
}

// Features are those of one day, each with the standard deviation of its
// measurement.
type Features struct {
	Value [featureCount]float32
	SD    [featureCount]float32
	Known [featureCount]bool
	// What is no feature of a cause but counts beside them.
	UptakeML   float64 // of the day
	Dryback    float64 // mean depth, m3/m3; 0: none completed
	Hours      float64 // that were watched
	Drains     bool    // more than a twentieth of what was given drained
	Spills     bool    // all of what was given drained, or more
	Holds      float64 // by the physics, m3/m3
	Asked      float64 // highest level at rest that plans in force aimed at, on that day and before, m3/m3; 0: none was
	AskedPeak  float64 // likewise of peaks
	AtCapacity bool    // water came to rest at what the container is known to hold, whatever the physics make of it
	Lifted     float64 // by how much it stood higher than reported water explains, m3/m3
	Low        bool    // all day it stayed well below what the container holds
	EndsLow    bool    // it is there when the day ends
	Dry        bool    // all day it stayed below the refill point
	Parched    bool    // all day it stayed in the lowest part of the band or below, where substrate begins to repel water
	StandsWet  bool    // it was saturated for most of it, and of the day before
	Fed        bool    // pore EC is no higher than wanted: what rises is meant to
	Slope      float64 // of what waterings end at over what they begin from, see Ceiling
	SlopeSD    float64
	Slopes     bool // it is known
	LiftsLess  bool // its waterings lifted the water content by less than usual
	Enough     bool // more water was reported than the crop drank, by a tenth
}

func (f *Features) set(k Feature, v, sd float64) {
	f.Value[k], f.SD[k], f.Known[k] = float32(v), float32(sd), true
}

// fills is how far below the container capacity of the physics a container may be full,
// m3/m3: what probes err by in their own calibrations (common practice, no source).
const fills = 0.02

// knownCapacity is the standard deviation below which the apparent capacity has been seen
// and is not only expected, and atCapacity how far below it a container is full, m3/m3:
// two standard deviations of one that has been seen (common practice, no source).
const knownCapacity, atCapacity = 0.008, 0.012

// lowLevel is how far below what the container holds a day's highest level is too low for one
// that an open valve feeds, which fills it within hours, m3/m3 (common practice, no source).
const lowLevel = 0.05

// spillShare of what was given drains from a container that loses what it held; gauges err by a
// twentieth (common practice, no source).
const spillShare = 0.95

// parchedPart is the lowest part of the band, as a share of it (common practice, no
// source).
const parchedPart = 0.25

// leastHours of looks make a day that is worth weighing.
const leastHours = 12

// finish makes the features of the day that ends.
func (c *Collector) finish(in *Inputs) Features {
	var f Features
	f.Hours = float64(c.Looks) / 12
	if f.Hours < leastHours {
		return f
	}
	f.UptakeML = in.Learned.UptakeML24h
	f.Enough = in.Water.Reports && in.Water.GivenML24h > 1.1*f.UptakeML
	if c.DrybackN > 0 {
		f.Dryback = float64(c.DrybackSum) / float64(c.DrybackN)
	}
	c.finishUptake(&f)
	if c.RiseN > 0 {
		f.set(Rise, float64(c.RiseSum)/float64(c.RiseN), 0.15/math.Sqrt(float64(c.RiseN)))
	}
	if c.PlateauN > 0 {
		f.set(Plateau, float64(c.PlateauSum)/float64(c.PlateauN), 0.003)
	}
	f.set(Peak, float64(c.Peak), 0.002)
	if c.Rest > 0 {
		f.set(Rest, float64(c.Rest), 0.002)
		f.set(Over, float64(c.Peak-c.Rest), 0.003)
	}
	f.Lifted = float64(c.Lifted)
	f.Holds = in.DesignCapacity
	f.Asked, f.AskedPeak = float64(max(c.Asked.Rest, c.AskedBefore.Rest)), float64(max(c.Asked.Peak, c.AskedBefore.Peak))
	l := &in.Learned
	f.AtCapacity = l.CapacitySD > 0 && l.CapacitySD < knownCapacity && float64(c.Rest) > l.Capacity-atCapacity
	f.Parched = float64(c.Peak) < in.refill()+parchedPart*(in.FullPoint-in.RefillPoint)
	f.Dry = float64(c.Peak) < in.refill()
	low := math.Min(l.Capacity, in.DesignCapacity) - lowLevel
	f.Low, f.EndsLow = float64(c.Peak) < low, in.WaterContent < low
	if float32(in.Learned.DrainLog) != c.DrainFrom { // else none was seen, and an old value says nothing of the day
		f.set(DrainTime, in.Learned.DrainLog, 0.1)
	}
	if c.RootMax > 0 {
		f.set(RootCel, float64(c.RootMax-c.AirMax), 0.3)
	}
	if c.ECN > 24 {
		ec := float64(c.ECSum) / float64(c.ECN)
		f.set(PoreEC, math.Log(ec), 0.02)
		f.Fed = in.WantedEC.Known && ec <= in.WantedEC.Value
	}
	if c.SaltN > 24 && !f.Dry {
		f.set(Salt, math.Log(float64(c.SaltSum)/float64(c.SaltN)), 0.02)
	}
	if given := in.Water.GivenML24h; in.Water.DrainTold && given > 0.01*in.VolumeML {
		// what the crop drank and the container could take up found room
		room := in.VolumeML * math.Max(0, in.Learned.Capacity-fills-float64(c.Begin)) / in.Learned.gain()
		left := math.Max(0, 1-(f.UptakeML+room)/given)
		f.set(Drained, math.Min(in.Water.Drain24hML/given, 1.5)-left, 0.03)
		f.Drains = in.Water.Drain24hML > 0.05*given
		f.Spills = in.Water.Drain24hML > spillShare*given
		c.finishAccount(in, &f)
	}
	f.set(WetHours, float64(c.WetS)/3600, 0.2)
	if c.ScatterN > 0 {
		f.set(Scatter, float64(c.ScatterSum)/float64(c.ScatterN), 0.001)
	}
	return f
}

// wholeHours of looks make a day whose water can be accounted for, and drinkingErr is by
// what share the uptake of one day errs (common practice, no source).
const (
	wholeHours  = 22
	drinkingErr = 0.15
)

// finishAccount holds the day's water against what came of it: what drained, was drunk
// or is stored has come.
func (c *Collector) finishAccount(in *Inputs, f *Features) {
	given := in.Water.GivenML24h
	if f.Hours < wholeHours || given < 0.3*f.UptakeML {
		return
	}
	stored := in.VolumeML * (in.WaterContent - float64(c.Begin)) / in.Learned.gain()
	came := (math.Min(in.Water.Drain24hML, 1.5*given) + f.UptakeML + stored) / given
	f.set(Account, math.Min(came-1, 2), math.Hypot(0.03, drinkingErr*f.UptakeML/given))
}

// finishUptake makes the rates of the parts of the day. A part that was watched
// for less than an hour and a half says nothing.
func (c *Collector) finishUptake(f *Features) {
	rate := func(p Part) (float64, float64, bool) {
		noise := float64(c.Noise) * 1.5 * float64(c.VolumeML) * math.Sqrt(float64(max(p.Stretches, 1)))
		fall, drawn := float64(p.FallML), float64(p.Drawn)
		if p.Seconds < 5400 || drawn <= 0 {
			return 0, 0, false
		}
		expected := math.Exp(float64(c.ExpectedLog)) * drawn
		// a fall that is lost in the noise is at most as large as that, and as expected
		floor := math.Max(math.Max(0.1*expected, math.Min(noise, expected)), 1e-9)
		sd := math.Min(noise/math.Max(fall, floor), 2)
		return math.Log(math.Max(fall, floor) / drawn), sd, true
	}
	am, pm := c.Parts[morning], c.Parts[afternoon]
	if v, sd, ok := rate(Part{am.FallML + pm.FallML, am.Drawn + pm.Drawn, am.Seconds + pm.Seconds, am.Stretches + pm.Stretches}); ok {
		f.set(UptakeDay, v, sd)
	}
	if v, sd, ok := rate(c.Parts[night]); ok {
		f.set(UptakeNight, v, sd)
	}
	a, sda, ok1 := rate(am)
	p, sdp, ok2 := rate(pm)
	if ok1 && ok2 {
		f.set(Droop, p-a, math.Hypot(sda, sdp))
	}
}
