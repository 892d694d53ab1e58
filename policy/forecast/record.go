package forecast

import (
	"math"

	"rhizostat/policy/learning"
)

// Horizons at which forecasts are held against what came, in hours.
var Horizons = [HorizonCount]int64{1, 3, 6, 12, 24}

// HorizonCount is their number.
const HorizonCount = 5

// IssueEvery is how often a forecast is issued and scored, ms.
const IssueEvery = 30 * 60 * 1000

// Variant is a way in which a zone may be watered.
type Variant uint8

// The variants. Given is the plan's balance run under the water that was
// really given: it can be scored whatever was done, and calibrates the interval
// of Plan and NoWater.
const (
	Plan Variant = iota
	AsUsual
	Given
	variantCount
)

// slotCount is the number of forecasts under way: two an hour and horizon.
const slotCount = 2 * (1 + 3 + 6 + 12 + 24)

// Slot is one forecast under way for one horizon. Levels are in 1/60000 m3/m3,
// volumes in 1/30000 of the container's.
type Slot struct {
	Issue     uint16 // low bits of the number of the half hour, 0: empty
	Usual     uint16 // as usual
	UsualOwn  uint16 // the usual course before it leans on the balance
	Balance   uint16 // the balance under the water of the day before
	Anchor    int16  // by how much the zone was off its usual course
	UsualHalf uint16 // half its interval
	Plan      uint16
	PlanHalf  uint16
	Start     uint16 // level at issue
	Least     uint16 // water the plan gives until the horizon, at least
	Most      uint16 // and at most
	Uptake    uint16 // uptake expected until the horizon
}

// Tally is how one variant did at one horizon, newest weeks counting most.
type Tally struct {
	AbsoluteError float32 // mean, m3/m3
	Bias          float32 // mean of what came less forecast, m3/m3
	SquaredError  float32
	CRPS          float32 // mean, m3/m3
	Coverage      float32 // share inside the interval
	Count         int32
}

// Record is what a zone's forecasts were and how they did. The zero value has
// seen none. It is plain data of fixed size.
type Record struct {
	LastIssue int64 // number of the newest half hour issued
	Slots     [slotCount]Slot
	Tallies   [variantCount][HorizonCount]Tally
	// Stretch is the 90 % half width over the spread that the parts of a
	// situation make, by horizon; the same for the usual course over its prior.
	Stretch      [HorizonCount]float32
	UsualStretch [HorizonCount]float32
	PlanStretch  [HorizonCount]float32 // of the plan over Stretch
	Missed       [HorizonCount]Missed
	Usual        UsualCourse
	LevelMean    float32 // of the water content, for the share of variance explained
	LevelVar     float32
	Begun        bool
}

// Scored is a forecast that came due.
type Scored struct {
	Variant       Variant
	Horizon       int     // index into Horizons
	Error         float64 // what came less forecast, m3/m3
	CRPS          float64 // of the normal distribution with its interval, m3/m3
	Covered       bool
	NotAsExecuted bool // the plan was not carried out until then: not scored
}

// Due holds the forecasts that come due at the half hour atMs against the
// zone's water content and learns from them. It returns how many of out were
// filled; out has room for all variants and horizons.
func (r *Record) Due(z *learning.Zone, c *learning.Constants, atMs int64, out *[int(variantCount) * HorizonCount]Scored) int {
	_, _, ok := z.WaterContent()
	level := z.Shown() // a forecast is held against what probes show
	if !ok || atMs-z.SeenMs > 20*60*1000 {
		return 0 // nothing fresh to hold them against
	}
	r.begin()
	r.watchLevel(level)
	n := 0
	for h, hours := range Horizons {
		issued := atMs - hours*3600*1000
		slot := r.slot(h, issued/IssueEvery)
		if slot.Issue != tag(issued/IssueEvery) {
			continue
		}
		given := z.GivenBetween(c, issued, atMs)
		out[n] = r.scoreUsual(h, slot, issued, level)
		out[n+1] = r.scoreGiven(z, c, h, slot, issued, given, level)
		out[n+2] = r.scorePlan(z.Volume(c), h, slot, given, level)
		n += 3
		*slot = Slot{}
	}
	return n
}

// Issue takes down what is forecast at the half hour atMs: what was published of
// the situation.
func (r *Record) Issue(z *learning.Zone, s *Situation, atMs int64, p *Published) {
	r.begin()
	issue := atMs / IssueEvery
	r.LastIssue = issue
	uptake, step := 0.0, 0
	for h, hours := range Horizons {
		last := int(hours) * 12
		for ; step < last && step < len(s.UptakeML); step++ {
			uptake += s.UptakeML[step]
		}
		if last >= len(p.Plan.WaterContent) || last >= len(p.AsUsual.WaterContent) {
			return
		}
		anchor := r.Usual.anchor(z, atMs, hours*3600*1000, z.Shown())
		*r.slot(h, issue) = Slot{
			Issue: tag(issue), Usual: pack(p.AsUsual.WaterContent[last]),
			UsualOwn: pack(p.usualAlone[last]), Balance: pack(p.usualBalance[last]), Anchor: packSigned(anchor),
			UsualHalf: pack(half(&p.AsUsual, last)), Plan: pack(p.Plan.WaterContent[last]),
			PlanHalf: pack(half(&p.Plan, last)), Start: pack(z.Shown()),
			Least: packShare(p.planned[h].least / s.VolumeML), Most: packShare(p.planned[h].most / s.VolumeML), Uptake: packShare(uptake / s.VolumeML),
		}
	}
}

func half(b *Band, k int) float64 { return (b.High[k] - b.Low[k]) / 2 }

func (r *Record) begin() {
	if r.Begun {
		return
	}
	r.Begun = true
	for h := range HorizonCount {
		r.Stretch[h], r.UsualStretch[h], r.PlanStretch[h] = z90, z90, 1
	}
}

// slot is the place of an issue among those of its horizon.
func (r *Record) slot(h int, issue int64) *Slot {
	first := 0
	for i := range h {
		first += int(2 * Horizons[i])
	}
	return &r.Slots[first+int(issue%(2*Horizons[h]))]
}

// tag marks a slot as that of an issue; it is never 0.
func tag(issue int64) uint16 { return uint16(issue%65535) + 1 }

const packScale = 60000

func pack(level float64) uint16 {
	return uint16(math.Round(math.Min(math.Max(level, 0), 1) * packScale))
}

func packSigned(d float64) int16 {
	return int16(math.Round(math.Min(math.Max(d, -0.5), 0.5) * packScale))
}

// shareScale leaves room for twice the container's volume.
const shareScale = 30000

func packShare(v float64) uint16 {
	return uint16(math.Round(math.Min(math.Max(v*shareScale, 0), math.MaxUint16)))
}

func unpackShare(v uint16) float64 { return float64(v) / shareScale }

func unpack(v uint16) float64 { return float64(v) / packScale }

// watchLevel follows mean and variance of the water content over two weeks.
func (r *Record) watchLevel(level float64) {
	if r.LevelMean == 0 {
		r.LevelMean, r.LevelVar = float32(level), 0
	}
	d := level - float64(r.LevelMean)
	const share = 1.0 / (48 * 14)
	r.LevelMean += float32(share * d)
	r.LevelVar += float32(share * (d*d - float64(r.LevelVar)))
}
