package policy

import (
	"math"
	"time"
)

// A controller follows setpoints by clock or by trigger and does not say which.
// The shots tell: by clock they come at the times of the schedule, by trigger
// only now and then. The first shot and the rewet, which repeats at the least
// interval, come alike, and after the last shot nothing comes either way.
const (
	// How far before and after its time a scheduled shot may be seen: a rise is
	// dated by the reading before it, a report comes after the run, which comes on
	// top.
	wayBefore, wayAfter = 11 * time.Minute, 8 * time.Minute
	// What a shot on time and one off it tell, ln of odds: by clock 97 in 100
	// are on time, by trigger some 50 are (common practice, no source).
	wayOnTime, wayOffTime = 0.6, -3.0
	// wayMost bounds what is believed, so that a new controller is found out
	// within a day or two.
	wayMost = 4.0
)

// learnWay takes the time of a shot while setpoints are in force. Where shots are
// not reported, their times are too loose to tell.
func (z *Zone) learnWay(at int64) {
	q := z.inForce(at)
	if q == nil || q.Advice.Setpoints == nil || len(q.Advice.Setpoints.Schedule) == 0 || !z.m.Learned.Reports() {
		return
	}
	sp, t := q.Advice.Setpoints, instant(at)
	after := wayAfter + time.Duration(sp.RunTimeS)*time.Second
	interval := time.Duration(sp.MinIntervalS) * time.Second
	if t.Before(sp.FirstShotAt.Add(after+interval)) || t.After(sp.LastShotBy.Add(after)) {
		return
	}
	tells, rewet := wayOffTime, true
	for i := range sp.Schedule {
		rewet = rewet && (i == 0 || sp.Schedule[i].At.Sub(sp.Schedule[i-1].At) <= interval)
		off := t.Sub(sp.Schedule[i].At)
		if off < -wayBefore || off > after {
			continue
		}
		if rewet {
			return
		}
		tells = wayOnTime
	}
	p := &z.m.Plans
	p.ClockLog = min(max(p.ClockLog+tells, -wayMost), wayMost)
}

// byClock is how likely the controller runs the schedule, 0 to 1.
func (z *Zone) byClock() float64 { return 1 / (1 + math.Exp(-z.m.Plans.ClockLog)) }
