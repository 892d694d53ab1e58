package policy

import (
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/plan"
)

const (
	// knownFor is how long a zone must have been seen before it is planned for.
	knownFor = 30 * time.Minute
	// leastDay is the shortest rest of a day that is worth a plan of its own.
	leastDay = 2 * time.Hour
	// askAgain is how long after an undecided advice the same day is planned
	// anew, and how long after a replacement the next may come.
	askAgain = 3 * time.Hour
	// youngFor is how long a zone's numbers move so fast that people are asked
	// again during the day only where a hard limit is near and youngHours out of the
	// band or saturated are at stake, or a person has just changed what the plan was
	// made for.
	youngFor   = 48 * time.Hour
	youngHours = 4.0
	// mostADay bounds what people are asked for one zone and day.
	mostADay = 3
	// quorumGrace is how long probes may be away before a person is asked to
	// look.
	quorumGrace = 30 * time.Minute
	// waitForToday is how long tomorrow's plan waits for a question about today's water that it
	// would take back.
	waitForToday = time.Hour
	// rootsGrace is how long after roots were disturbed people may still be at work there:
	// they pull the probes to transplant, and put them back when all containers are done
	// (common practice, no source).
	rootsGrace = 4 * time.Hour
)

// consider decides whether advice is due.
func (z *Zone) consider(at int64) {
	if z.m.FirstMs == 0 || at-z.m.FirstMs < knownFor.Milliseconds() || z.scratch.out.Advice != nil { // one at a time
		return
	}
	now, day, p := instant(at), z.today.day, &z.m.Plans
	if p.AskedDayMs != z.today.fromMs {
		p.AskedDayMs, p.AskedToday = z.today.fromMs, 0
	}
	if !z.watchQuorum(at) {
		return
	}
	next := z.settings.DayAt(day.Next)
	due := next.Start.Add(-z.settings.IssueBeforeDay)
	switch {
	case p.IssuedForMs < next.Start.UnixMilli() && !now.Before(due):
		if !z.waterPending(at) || !now.Before(due.Add(waitForToday)) {
			z.issue(at, next)
		}
	case p.AskedToday < mostADay && z.takenBack(next) && !z.pendingToday(at): // a question about today would be taken back
		z.issue(at, next)
	case z.needsToday(at):
		z.issue(at, day)
	case at%forecast.IssueEvery == 0:
		z.reconsider(at)
	}
}

// needsToday reports whether the running day wants a plan: there is none yet,
// or nobody decided on the one there was, though somebody does at times, and there is day
// left when somebody will have.
func (z *Zone) needsToday(at int64) bool {
	p, day := &z.m.Plans, z.today.day
	left := day.DaytimeEnd.Sub(z.earliest(at, day))
	if left < leastDay || p.AskedToday >= mostADay || p.Closed && p.ClosedDayMs == z.today.fromMs {
		return false
	}
	if p.IssuedForMs < z.today.fromMs {
		return true
	}
	if z.takenBack(day) {
		return true
	}
	// Who answered neither the evening's question nor the day's is not asked a third time.
	return p.RetryMs != 0 && at >= p.RetryMs && p.AskedToday == 0 && !p.Deciding.nobody() && !z.openFor(at) && z.worthAsking(at)
}

// worthAsking reports whether the rest of the day is worth a question of its own beside the one
// about the next day: not shortly before that, where the zone can wait for it, nor after it.
func (z *Zone) worthAsking(at int64) bool {
	before := z.settings.DayAt(z.today.day.Next).Start.Add(-z.settings.IssueBeforeDay).Sub(instant(at))
	level, _, ok := z.waterContent(at)
	return before > askAgain || before > 0 && ok && level < z.ground.band.RefillPoint
}

// takenBack reports whether the plan for a day, the latest that was planned for, gave way
// to an advice that is none for that day: to look at the probes, or for what was left of
// the day before. Once the probes are back, or that question is over, the day still wants
// a plan, whether or not anybody had decided on the one that it had.
func (z *Zone) takenBack(day IrrigationDay) bool {
	if z.m.Plans.IssuedForMs != day.Start.UnixMilli() {
		return false
	}
	for i := len(z.plans) - 1; i >= 0; i-- {
		if q := &z.plans[i]; q.Advice.Action != advice.Inspect && q.Advice.ValidFrom.Equal(day.Start) {
			return q.State == StateSuperseded
		}
	}
	return false
}

// openFor reports whether some advice for now is in force or waits for a
// person.
func (z *Zone) openFor(at int64) bool {
	now := instant(at)
	for i := range z.plans {
		q := &z.plans[i]
		if (q.State == StateApproved || q.State == StatePending) && now.Before(q.Advice.ValidUntil) && q.Advice.Action != advice.Inspect {
			return true
		}
	}
	return false
}

// watchQuorum reports whether there are probes enough to plan by. When they
// have been away for a while, a person is asked to look, once a day, or once in some hours
// where they come and go: nothing is watered by plan meanwhile.
func (z *Zone) watchQuorum(at int64) bool {
	p := &z.m.Plans
	if z.quorum(at) && z.current(at) {
		p.QuorumMs = 0
		return true
	}
	if p.QuorumMs == 0 {
		p.QuorumMs = at
	}
	if at-p.QuorumMs >= quorumGrace.Milliseconds() && !z.atTheRoots(at) && (p.InspectMs < p.QuorumMs && at-p.InspectMs >= askAgain.Milliseconds() || at-p.InspectMs >= askEvery.Milliseconds()) {
		p.InspectMs = at
		silent := time.Duration(at-z.spokeMs()) * time.Millisecond
		reasons := advice.InspectQuorum(z.m.Panel.Healthy(at), max(z.settings.Quorum, 1), z.worstProbe(at))
		if z.m.Panel.Healthy(at) == 0 && silent > quorumGrace {
			reasons = advice.InspectSilent(silent)
		}
		z.ask(reasons, 1, asksProbes, at)
	}
	return false
}

// atTheRoots tells that people said not long ago that they disturb the roots: probes that
// are away are in their hands.
func (z *Zone) atTheRoots(at int64) bool {
	since := z.m.Recovery.SinceMs
	return since != 0 && at-since < rootsGrace.Milliseconds()
}

// spokeMs is when a probe last spoke, well or ill.
func (z *Zone) spokeMs() int64 {
	newest := int64(0)
	for i := range z.probes {
		newest = max(newest, z.probes[i].AtMs)
	}
	return newest
}

// worstProbe names the first probe that is not healthy.
func (z *Zone) worstProbe(at int64) string {
	for i := range z.probes {
		if !z.health(i, at).Usable() {
			return z.settings.Probes[i].ID
		}
	}
	return ""
}

// issue plans an irrigation day, or what is left of it, and proposes the plan.
func (z *Zone) issue(at int64, day IrrigationDay) {
	p := &z.m.Plans
	r := z.request(at, day)
	proposal := plan.Best(r, &z.scratch.plan)
	p.IssuedForMs, p.IssuedMs, p.RetryMs = day.Start.UnixMilli(), at, 0
	z.put(at, day, r, &proposal)
}

// reconsider costs the standing plan of the running day again and replaces it
// only when keeping it costs materially more.
func (z *Zone) reconsider(at int64) {
	p, day := &z.m.Plans, z.today.day
	q := z.inForce(at)
	if q != nil && q.Advice.Action == advice.Withhold && !z.pendingToday(at) && z.withholdEnds(q, at) {
		if p.AskedToday < mostADay && at >= p.RetryMs {
			z.endWithhold(at, day)
		}
		return
	}
	if q == nil || q.Advice.Action == advice.Inspect || z.pendingToday(at) || p.AskedToday >= mostADay ||
		at-p.IssuedMs < askAgain.Milliseconds() || day.DaytimeEnd.Sub(z.earliest(at, day)) < leastDay {
		return
	}
	r := z.request(at, day)
	standing := plan.Rescore(q.Advice.Setpoints, r, &z.scratch.plan)
	best := plan.Best(r, &z.scratch.plan)
	if best.Action == advice.Inspect || plan.Keep(standing, best.Score, int(p.AskedToday)) || sameWater(q.Advice.Setpoints, &best, r, standing) {
		return
	}
	worse := standing.Band + standing.Saturation - best.Score.Band - best.Score.Saturation
	young := at-z.m.FirstMs < youngFor.Milliseconds() && !r.Recovering
	if young && (worse < youngHours || !standing.HardLimitNear) {
		return
	}
	p.IssuedMs = at
	best.Reasons = append(best.Reasons, plan.Superseded(standing, best.Score))
	z.put(at, day, r, &best)
}

// sameWater reports whether both the standing plan and the best one use up what the day
// allows, so that another would only give the same water at other times: where that saves
// the roots no saturation, it is not worth a question.
func sameWater(standing *advice.Setpoints, best *plan.Proposal, r *plan.Request, score plan.Score) bool {
	if !best.LimitBinds || best.Setpoints == nil || score.Saturation > best.Score.Saturation {
		return false
	}
	another := float64(best.Setpoints.ShotVolumeML)
	return float64(standing.MaxVolumeML)+another > r.Limits.MaxDailyML && float64(best.Setpoints.MaxVolumeML)+another > r.Limits.MaxDailyML
}

// noticeOfWater is how long before the trigger of a withhold the next advice
// comes: a person must have had time to decide on it.
const noticeOfWater = 2 * time.Hour

// withholdEnds reports whether the zone will soon be down to the trigger of the
// withhold in force, where its controller goes back to its own programme.
func (z *Zone) withholdEnds(q *planned, at int64) bool {
	level, _, ok := z.m.Learned.WaterContent()
	if !ok {
		return false
	}
	var ahead [1]float64
	z.m.Learned.UptakeSteps(&z.ground.constants, at, noticeOfWater.Milliseconds(), ahead[:])
	return level-ahead[0]/z.m.Learned.Volume(&z.ground.constants) <= q.Advice.Setpoints.TriggerWaterContent
}

// endWithhold plans water for what is left of the day, if it is time for it. By night it
// is not: the next day's plan, which a person has by then, is made for what the night
// leaves.
func (z *Zone) endWithhold(at int64, day IrrigationDay) {
	r := z.request(at, day)
	if day.DaytimeEnd.Sub(r.Earliest) < leastDay {
		return
	}
	best := plan.Best(r, &z.scratch.plan)
	if best.Action != advice.Irrigate && best.Action != advice.Leach {
		return
	}
	z.m.Plans.IssuedMs, z.m.Plans.RetryMs = at, 0
	z.put(at, day, r, &best)
}

// waterPending reports whether a person is being asked about water on the running day.
func (z *Zone) waterPending(at int64) bool {
	for i := range z.plans {
		q := &z.plans[i]
		if q.State == StatePending && !q.Advice.ValidFrom.After(instant(at)) && q.Advice.Setpoints != nil && instant(at).Before(q.Advice.Setpoints.FirstShotAt) {
			return true
		}
	}
	return false
}

// pendingToday reports whether a person is being asked about the running day.
func (z *Zone) pendingToday(at int64) bool {
	for i := range z.plans {
		q := &z.plans[i]
		if q.State == StatePending && instant(at).Before(q.Advice.ValidUntil) && !q.Advice.ValidFrom.After(instant(at)) {
			return true
		}
	}
	return false
}
