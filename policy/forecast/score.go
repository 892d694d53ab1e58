package forecast

import (
	"math"

	"rhizostat/policy/learning"
)

// z90 is the 95th percentile of the standard normal distribution: half a 90 %
// interval over the standard deviation.
const z90 = 1.6448536269514722

// CRPSNormal is the continuous ranked probability score of a normal forecast
// with mean mu and standard deviation sd where y came, in the unit of y:
//
//	sd * (z*(2*Phi(z)-1) + 2*phi(z) - 1/sqrt(pi)),  z = (y-mu)/sd
//
// Gneiting and Raftery (2007) eq. 21. Without spread it is the absolute error.
func CRPSNormal(mu, sd, y float64) float64 {
	if sd <= 0 {
		return math.Abs(y - mu)
	}
	z := (y - mu) / sd
	phi := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	return sd * (z*math.Erf(z/math.Sqrt2) + 2*phi - 1/math.Sqrt(math.Pi))
}

func (r *Record) scoreUsual(h int, slot *Slot, issued int64, level float64) Scored {
	e := level - unpack(slot.Usual)
	width := unpack(slot.UsualHalf)
	s := r.tally(AsUsual, h, e, width)
	// As fast as the balance's: at two thirds of it an interval that the first days
	// widened still covers 0.96 a fortnight later.
	adapt(&r.UsualStretch[h], !s.Covered, r.Tallies[AsUsual][h].Count, 0.03, 0.1)
	own := unpack(slot.UsualOwn)
	r.Usual.learnLean(h, level-own, unpack(slot.Balance)-own)
	r.Usual.learn(h, issued, level-own, float64(slot.Anchor)/packScale)
	return s
}

// scoreGiven runs the balance again from the issue under the water that was
// given since, with the uptake that was expected then.
func (r *Record) scoreGiven(z *learning.Zone, c *learning.Constants, h int, slot *Slot, issued int64, given, level float64) Scored {
	const bin = learning.HistoryBin
	var shape [96]float64
	n := int(Horizons[h] * 3600 * 1000 / bin)
	z.UptakeSteps(c, issued, bin, shape[:n])
	sum := 0.0
	for _, u := range shape[:n] {
		sum += u
	}
	scale := 0.0
	if sum > 0 {
		scale = unpackShare(slot.Uptake) * z.Volume(c) / sum
	}
	w := unpack(slot.Start)
	keep := math.Exp(-float64(bin) / 1000 / math.Exp(z.DrainLog.Mean))
	for k := range n {
		at := issued + int64(k)*bin
		w += z.Capture.Mean * z.GivenBetween(c, at, at+bin) / z.Volume(c)
		if over := w - z.Capacity.Mean; over > 0 {
			w = math.Min(z.Capacity.Mean+over*keep, c.MaxMean)
		}
		limit := 1.0
		if w < c.StressMean && c.StressMean > c.MinMean {
			limit = math.Max(0, (w-c.MinMean)/(c.StressMean-c.MinMean))
		}
		w -= shape[k] * scale * limit / z.Volume(c)
	}
	parts := spread{
		start: math.Sqrt(z.LevelVar), relative: z.UptakeRelSD(), capture: math.Hypot(z.Capture.SD(), givenSD),
		capacity: z.Capacity.SD(),
	}
	sd := parts.at(unpackShare(slot.Uptake), given/z.Volume(c), float64(Horizons[h]))
	e := level - w
	s := r.tally(Given, h, e, float64(r.Stretch[h])*sd)
	adapt(&r.Stretch[h], !s.Covered, r.Tallies[Given][h].Count, 0.03, 0.3)
	return s
}

// scorePlan scores the plan where it was carried out: as much water was given
// until the horizon as it foresaw one way or the other, within 15 % or a
// hundredth of the container. Its shift has hardly changed since it was issued.
func (r *Record) scorePlan(volumeML float64, h int, slot *Slot, given, level float64) Scored {
	given /= volumeML
	least, most := unpackShare(slot.Least), unpackShare(slot.Most)
	if given < least-math.Max(0.15*least, 0.01) || given > most+math.Max(0.15*most, 0.01) {
		return Scored{Variant: Plan, Horizon: h, NotAsExecuted: true}
	}
	e := level - unpack(slot.Plan)
	s := r.tally(Plan, h, e, unpack(slot.PlanHalf))
	adapt(&r.PlanStretch[h], !s.Covered, r.Tallies[Plan][h].Count, 0.02, 0.1)
	r.Missed[h].add(e + r.Missed[h].shift())
	return s
}

// tally books an error with the half width its interval had. The newest week
// makes up most of each mean.
func (r *Record) tally(v Variant, h int, e, width float64) Scored {
	s := Scored{Variant: v, Horizon: h, Error: e, CRPS: CRPSNormal(0, width/z90, e), Covered: math.Abs(e) <= width}
	t := &r.Tallies[v][h]
	t.Count++
	share := float32(math.Max(1/float64(t.Count), 1.0/(48*7)))
	hit := float32(0)
	if s.Covered {
		hit = 1
	}
	t.AbsoluteError += share * (float32(math.Abs(e)) - t.AbsoluteError)
	t.Bias += share * (float32(e) - t.Bias)
	t.SquaredError += share * (float32(e*e) - t.SquaredError)
	t.CRPS += share * (float32(s.CRPS) - t.CRPS)
	t.Coverage += share * (hit - t.Coverage)
	return s
}

// adapt moves a stretch after a hit or a miss so that in the long run a tenth
// misses, whatever the errors' distribution: adaptive conformal inference
// (Gibbs and Candes 2021), on the logarithm of the width. Its rate falls from fast
// to slow with the count, over the first days; both were chosen by the CRPS on
// the first halves of measured slabs and on the facility.
func adapt(stretch *float32, miss bool, count int32, slow, fast float64) {
	rate := math.Max(slow, fast/(1+float64(count)/24))
	step := -0.1 * rate
	if miss {
		step = 0.9 * rate
	}
	*stretch = float32(math.Min(math.Max(float64(*stretch)*math.Exp(step), 0.3), 20))
}

// Explained is the share of the variance of the water content that a variant
// explains at a horizon (R2), and false before a day of scores.
func (r *Record) Explained(v Variant, h int) (float64, bool) {
	t := &r.Tallies[v][h]
	if t.Count < 48 || r.LevelVar <= 0 {
		return 0, false
	}
	return 1 - float64(t.SquaredError)/float64(r.LevelVar), true
}

// Confidence is how far the forecasts of this zone can be relied on, 0 to 1: 1
// where the balance was never wrong, a half where its day-ahead error is usually
// 0.03 m3/m3, less where the interval holds too seldom; 0.5 before it was tried
// and in between while it has been tried for less than two days. The form is
// ours.
func (r *Record) Confidence() float64 {
	t := &r.Tallies[Given][HorizonCount-1]
	seen := math.Min(float64(t.Count)/96, 1)
	q := float64(t.AbsoluteError) / 0.03
	good := 1 / (1 + q*q)
	good *= 1 - math.Min(2*math.Max(0, 0.85-float64(t.Coverage)), 0.8)
	return 0.5 + seen*(good-0.5)
}
