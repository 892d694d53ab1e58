package plan

import (
	"math"
	"time"

	"rhizostat/policy/forecast"
)

// grid lays whole five minutes of the clock over the steps of a situation: the
// shot of step k starts at origin + k steps, which lies inside step k.
type grid struct {
	origin   time.Time
	dayStart int  // first step whose instant is in the planned day, or 0 when it runs; after its committed shots
	first    int  // first step that may have a shot
	led      bool // that is later than the day would allow
	dayEnd   int  // first step after the daytime
	next     int  // first step of the next irrigation day
	steps    int  // that the uptake covers
	interval int  // least steps between two shots
	lastShot int  // step of the last shot given, may be far negative
	dayHours float64
}

const stepHours = 5.0 / 60

// longAgo is a step before any that counts.
const longAgo = -1 << 20

func newGrid(r *Request) grid {
	g := grid{origin: ceilTo(r.Situation.At, forecast.Step), steps: len(r.Situation.UptakeML)}
	g.dayStart = max(0, g.stepAtOrAfter(r.DayStart))
	g.first = max(g.dayStart, g.stepAtOrAfter(r.Earliest))
	g.led = g.first > g.dayStart
	g.next = min(g.steps, g.stepAtOrAfter(r.NextDayStart))
	if g.dayStart == 0 && len(r.Committed) > 0 {
		g.dayStart = max(0, min(g.first, g.next-1))
	}
	g.dayEnd = min(max(g.stepAtOrAfter(r.DaytimeEnd), g.dayStart), g.next)
	g.interval = max(1, int(math.Ceil(r.Limits.MinIntervalMin/forecast.Step.Minutes()-1e-9)))
	g.lastShot = longAgo
	if !r.LastShotAt.IsZero() {
		g.lastShot = g.stepAtOrAfter(r.LastShotAt)
	}
	g.dayHours = math.Max(stepHours, float64(g.dayEnd-g.dayStart)*stepHours)
	return g
}

// at is the instant of a step's shot, UTC.
func (g *grid) at(k int) time.Time { return g.origin.Add(time.Duration(k) * forecast.Step).UTC() }

// stepAtOrAfter is the first step whose instant is not before t.
func (g *grid) stepAtOrAfter(t time.Time) int {
	if t.IsZero() {
		return longAgo
	}
	d := t.Sub(g.origin)
	k := int(d / forecast.Step)
	if d > 0 && d%forecast.Step != 0 {
		k++
	}
	return max(k, longAgo)
}

// stepBefore is the last step whose instant is not after t.
func (g *grid) stepBefore(t time.Time) int {
	d := t.Sub(g.origin)
	k := int(d / forecast.Step)
	if d < 0 && d%forecast.Step != 0 {
		k--
	}
	return max(k, longAgo)
}

// ceilTo rounds an instant up to a whole multiple of d since 1970.
func ceilTo(t time.Time, d time.Duration) time.Time {
	over := t.UnixNano() % int64(d)
	if over < 0 {
		over += int64(d)
	}
	if over == 0 {
		return t
	}
	return t.Add(d - time.Duration(over))
}
