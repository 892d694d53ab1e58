package diagnose

import (
	"math"
	"slices"
	"strconv"
	"time"

	"rhizostat/policy/advice"
)

// Trend keeps the uptake of the last days, for how it grows.
type Trend struct {
	Days [trendDays]float32 // ln of mL a day, the newest at Head; 0: not known
	Head uint8
}

const trendDays = 14

// day takes a finished day; one that was not watched leaves a gap.
func (t *Trend) day(f *Features) {
	t.Head = (t.Head + 1) % trendDays
	t.Days[t.Head] = 0
	if f.Hours >= leastHours && f.UptakeML > 1 {
		t.Days[t.Head] = float32(math.Log(f.UptakeML))
	}
}

// Outgrown is when a crop will have outgrown its container.
type Outgrown struct {
	Days      float64 // from now until it has; 0: it has
	Low, High float64 // nine in ten; High is +Inf where it may never
	UptakeML  float64 // a day, now
	LimitML   float64 // a day: what the container can carry it through
	GrowthDay float64 // relative growth of uptake a day
}

// leastTrend is the number of days that make a trend.
const leastTrend = 6

// Outgrow works out from the daily uptake when the longest time without water
// will use up all that the container holds between full and refill point, heldML
// (mL). share is the part of a day's uptake that falls in that time, 0 to 1: what is
// drunk while nobody may water. A plan that ends earlier does so to dry the zone back, and
// moves its last shot as the crop grows, until there is no later one. From then on
// the crop falls below its refill point every day, whatever is given: it is time
// to move up, before roots circle. False while there are fewer than six days, or
// where uptake does not grow and the container does.
//
// The growth is the Theil-Sen slope of ln uptake over days, the median of the
// slopes of all pairs (Sen 1968, J. Am. Stat. Assoc. 63); its interval that of the
// pairs' slopes at the ranks of Kendall's statistic (ibid., section 4), here by
// the normal approximation for the number of days there are.
func (m *Memory) Outgrow(heldML, share float64) (Outgrown, bool) {
	slope, low, high, level, ok := m.Trend.slope()
	if !ok || !(heldML > 0) || !(share > 0) {
		return Outgrown{}, false
	}
	o := Outgrown{UptakeML: math.Exp(level), LimitML: heldML / share, GrowthDay: slope}
	room := math.Log(o.LimitML) - level
	if room <= 0 {
		return o, true
	}
	until := func(s float64) float64 {
		if s <= 0 {
			return math.Inf(1)
		}
		return room / s
	}
	o.Days, o.Low, o.High = until(slope), until(high), until(low)
	return o, !math.IsInf(o.Days, 1)
}

// slope is the trend of ln uptake a day with a 90 % interval, and its level on the
// newest day.
func (t *Trend) slope() (slope, low, high, level float64, ok bool) {
	var slopes [trendDays * (trendDays - 1) / 2]float64
	var levels [trendDays]float64
	n, k := 0, 0
	for i := range trendDays {
		a := t.back(i)
		if a == 0 {
			continue
		}
		n++
		for j := i + 1; j < trendDays; j++ {
			if b := t.back(j); b != 0 {
				slopes[k] = (a - b) / float64(j-i)
				k++
			}
		}
	}
	if n < leastTrend {
		return 0, 0, 0, 0, false
	}
	slices.Sort(slopes[:k])
	slope = median(slopes[:k])
	half := 1.645 * math.Sqrt(float64(n*(n-1)*(2*n+5))/18) / 2
	low = slopes[max(int(float64(k)/2-half), 0)]
	high = slopes[min(int(math.Ceil(float64(k)/2+half)), k-1)]
	n = 0
	for i := range trendDays {
		if a := t.back(i); a != 0 {
			levels[n] = a + slope*float64(i)
			n++
		}
	}
	slices.Sort(levels[:n])
	return slope, low, high, median(levels[:n]), true
}

// back is ln of the uptake i days before the newest, 0: not known.
func (t *Trend) back(i int) float64 {
	return float64(t.Days[(int(t.Head)-i+trendDays)%trendDays])
}

// SayOutgrown tells of it; heldML is the water between full and refill point, mL, and the
// longest time without water is from end to start.
func SayOutgrown(o Outgrown, heldML float64, end, start time.Time, where *time.Location) advice.Reason {
	from, until := advice.Clock(end, where), advice.Clock(start, where)
	if o.Days <= 0 {
		return advice.Say("outgrown", from, until, advice.Volume(heldML*o.UptakeML/o.LimitML), advice.Volume(heldML))
	}
	high := "more than 60"
	if o.High <= 60 {
		high = strconv.Itoa(int(math.Ceil(o.High)))
	}
	return advice.Say("outgrows", advice.Number(math.Round(o.Days)), advice.Number(math.Floor(o.Low)), advice.Name(high), from, until, advice.Volume(heldML))
}

func median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
