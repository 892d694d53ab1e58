package policy

import (
	"crypto/sha256"
	"encoding/binary"
	"time"

	"github.com/oklog/ulid/v2"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/guard"
	"rhizostat/policy/learning"
	"rhizostat/policy/plan"
)

const (
	// maxPlans bounds what is kept of past advice: the one in force, the next,
	// and one that ended.
	maxPlans = 4
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
	// nightReach is how far beyond the next day's start a plan looks, so that
	// the night ends in it.
	nightReach = 6 * time.Hour
)

// consider decides whether advice is due.
func (z *Zone) consider(at int64) {
	if z.m.FirstMs == 0 || at-z.m.FirstMs < knownFor.Milliseconds() || z.out.Advice != nil { // one at a time
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
	switch {
	case p.IssuedForMs < next.Start.UnixMilli() && !now.Before(next.Start.Add(-z.settings.IssueBeforeDay)):
		z.issue(at, next)
	case z.needsToday(at):
		z.issue(at, day)
	case at%forecast.IssueEvery == 0:
		z.reconsider(at)
	}
}

// needsToday reports whether the running day wants a plan: there is none yet,
// or nobody decided on the one there was.
func (z *Zone) needsToday(at int64) bool {
	p, day := &z.m.Plans, z.today.day
	left := day.DaytimeEnd.Sub(instant(at))
	if left < leastDay || p.AskedToday >= mostADay || p.Closed && p.ClosedDayMs == z.today.fromMs {
		return false
	}
	if p.IssuedForMs < z.today.fromMs {
		return true
	}
	return p.RetryMs != 0 && at >= p.RetryMs && !z.openFor(at)
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
// have been away for a while, a person is asked to look, once.
func (z *Zone) watchQuorum(at int64) bool {
	p := &z.m.Plans
	if z.quorum(at) && z.current(at) {
		p.QuorumMs = 0
		return true
	}
	if p.QuorumMs == 0 {
		p.QuorumMs = at
	}
	if at-p.QuorumMs >= quorumGrace.Milliseconds() && p.InspectMs < p.QuorumMs {
		p.InspectMs = at
		silent := time.Duration(at-z.spokeMs()) * time.Millisecond
		reasons := advice.InspectQuorum(z.m.Panel.Healthy(at), max(z.settings.Quorum, 1), z.worstProbe(at))
		if z.m.Panel.Healthy(at) == 0 && silent > quorumGrace {
			reasons = advice.InspectSilent(silent)
		}
		z.propose(&advice.Advice{
			Action: advice.Inspect, ValidFrom: instant(at), ValidUntil: z.today.day.Next, Reasons: reasons, Confidence: 1,
		}, at)
	}
	return false
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
		z.endWithhold(at, day)
		return
	}
	if q == nil || q.Advice.Action == advice.Inspect || z.pendingToday(at) || p.AskedToday >= mostADay ||
		at-p.IssuedMs < askAgain.Milliseconds() || day.DaytimeEnd.Sub(instant(at)) < leastDay {
		return
	}
	r := z.request(at, day)
	standing := plan.Rescore(q.Advice.Setpoints, r, &z.scratch.plan)
	best := plan.Best(r, &z.scratch.plan)
	if best.Action == advice.Inspect || plan.Keep(standing, best.Score, int(p.AskedToday)) {
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

// endWithhold plans water for what is left of the day, if it is time for it.
func (z *Zone) endWithhold(at int64, day IrrigationDay) {
	r := z.request(at, day)
	best := plan.Best(r, &z.scratch.plan)
	if best.Action != advice.Irrigate && best.Action != advice.Leach {
		return
	}
	z.m.Plans.IssuedMs = at
	z.put(at, day, r, &best)
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

// request gathers what a plan rests on.
func (z *Zone) request(at int64, day IrrigationDay) *plan.Request {
	now := instant(at)
	s := &z.scratch.planned
	steps := int(day.Next.Add(nightReach).Sub(now)/forecast.Step) + 1
	forecast.Build(&z.m.Learned, &z.ground.constants, at, steps, s)
	band, _ := z.bandOf(day.Start)
	limits, wasted := z.limits(at, day)
	r := &plan.Request{
		Situation: s, DayStart: day.Start, DaytimeEnd: day.DaytimeEnd, NextDayStart: day.Next, Location: z.settings.Location,
		Band: band, SaturationPoint: z.ground.saturated, TotalPorosity: z.ground.profile.TotalPorosity(),
		Limits: limits, Wasted: wasted, Priorities: z.settings.Priorities, FlowMLPerS: z.settings.Emitters.FlowMLPerS(),
		LevelSD: z.m.Panel.Consensus.LevelSD(), ByClock: z.byClock(), Salt: z.salt(at, day.Start), Recovering: z.m.Diagnosis.Recovering(at),
		Quorum: z.quorum(at), Healthy: z.m.Panel.Healthy(at), Needed: max(z.settings.Quorum, 1),
		Earliest: now.Add(z.settings.DecideBeforeFirstShot + z.m.Plans.Deciding.time()),
		Previous: z.previous(), Probes: z.readingsByProbe(),
		LastPeak: z.m.Learned.Shots.LastHeld, CapacityShift: z.m.Plans.DrainShift, Gain: z.m.Learned.Gain.Mean,
	}
	r.ReadsLow, r.Holds = z.readsLow()
	if last := z.m.Learned.Shots.LastMs; last != 0 && at-last < 2*24*time.Hour.Milliseconds() {
		r.LastShotAt = instant(last)
	}
	if day.Start.After(now) {
		r.Committed = z.coming(at, int(day.Start.Sub(now)/forecast.Step))
		return r
	}
	r.GivenML = z.givenSince(day.Start.UnixMilli(), at)
	lead := int(r.Earliest.Sub(now) / forecast.Step)
	if q := z.inForce(at); q != nil && lead > 0 && q.Advice.Action != advice.Withhold {
		r.Committed = z.coming(at, lead)
		for i := range r.Committed {
			r.GivenML += r.Committed[i].VolumeML
		}
	}
	r.TargetReached = z.m.Cycle.SeenDayMs == z.today.fromMs && z.m.Cycle.FirstReachedMs != 0
	return r
}

// givenSince is the water given since an instant of the last day, mL: by whole quarters of
// an hour, the one that is running among them.
func (z *Zone) givenSince(from, at int64) float64 {
	return z.m.Learned.GivenBetween(&z.ground.constants, from, at+learning.HistoryBin)
}

// salt is what is known of the zone's salt, and what is wanted on an irrigation
// day.
func (z *Zone) salt(at int64, dayStart time.Time) plan.Salt {
	var s plan.Salt
	if ec := z.m.PoreEC.known(at, slowAge); ec != nil {
		s.PoreEC, s.PoreKnown = *ec, true
	}
	if ec := z.m.FeedEC.known(at, 7*24*time.Hour); ec != nil {
		s.FeedEC, s.FeedKnown = *ec, true
	} else if z.settings.FeedEC > 0 {
		s.FeedEC, s.FeedKnown = z.settings.FeedEC, true
	}
	if wanted := z.specOf(z.stageOf(dayStart)).PoreEC; wanted != nil {
		s.WantedEC, s.WantedKnown = *wanted, true
	}
	return s
}

// previous is the newest plan with water that people let stand, made for this container:
// another's numbers are none to stay near.
func (z *Zone) previous() *advice.Setpoints {
	for i := len(z.plans) - 1; i >= 0; i-- {
		q := &z.plans[i]
		if q.Advice.IssuedAt.UnixMilli() < z.m.Plans.RepottedMs {
			break
		}
		if q.Advice.Setpoints != nil && q.Advice.Setpoints.ShotVolumeML > 0 && q.State != StateRejected && q.State != StateWithdrawn {
			return q.Advice.Setpoints
		}
	}
	return nil
}

// lowestReading is how many standard deviations below its course the lowest of
// about ten readings lies: the mean of the least of ten standard normals is -1.54
// (Tippett 1925; from memory).
const lowestReading = 1.54

// readingsByProbe says what each healthy probe reads when the zone's water
// content is known: its place in the profile, its own learned offset, and how far
// below its course the lowest of some readings lies. A controller that compares
// single readings with a trigger acts on the lowest.
func (z *Zone) readingsByProbe() []plan.ProbeReading {
	var out []plan.ProbeReading
	for i := range z.settings.Probes {
		offset, known := z.m.Panel.Consensus.Offset(i)
		if !known || !z.health(i, z.m.NowMs).Usable() {
			continue
		}
		table, weighs := z.ground.tables[i], z.settings.Probes[i].Calibration.Kind == "weight"
		lowest := lowestReading * float64(z.m.Panel.Health[i].Noise)
		out = append(out, plan.ProbeReading{ID: z.settings.Probes[i].ID, Reading: func(mean float64) float64 {
			if weighs {
				return mean + offset - lowest
			}
			return table.Reading(mean+offset) - lowest
		}})
	}
	return out
}

// put takes a proposal through the guard and issues what is left of it.
func (z *Zone) put(at int64, day IrrigationDay, r *plan.Request, p *plan.Proposal) {
	a := &advice.Advice{
		Action: p.Action, Setpoints: p.Setpoints, Expected: p.Expected, Reasons: p.Reasons,
		// The whole day, also where it runs already: its volume is counted from there.
		ValidFrom: day.Start, ValidUntil: day.Next, Confidence: z.m.Forecasts.Confidence(),
	}
	if a.Setpoints != nil {
		in := z.guardInput(at, day, r, a)
		verdict := guard.Apply(in, a.Action, a.Setpoints)
		switch {
		case verdict.Setpoints == nil:
			a.Reasons = nil // they speak of shots that are none
		case verdict.Action == advice.Withhold && a.Action != advice.Withhold:
			dry := plan.Dry(r, &z.scratch.plan)
			a.Expected, a.Reasons = dry.Expected, dry.Reasons
			held := guard.Apply(in, dry.Action, dry.Setpoints)
			verdict.Action, verdict.Setpoints = held.Action, held.Setpoints
			verdict.Reasons = append(verdict.Reasons, held.Reasons...)
		}
		a.Action, a.Setpoints = verdict.Action, verdict.Setpoints
		a.Reasons = append(a.Reasons, verdict.Reasons...)
	}
	if a.Setpoints == nil {
		a.Expected = nil
	}
	a.Reasons = append(a.Reasons, z.diagnosisReasons(at)...)
	z.propose(a, at)
}

// propose gives an advice its id and times and issues it.
func (z *Zone) propose(a *advice.Advice, at int64) {
	p := &z.m.Plans
	p.Sequence++
	a.ID = z.id(at, p.Sequence)
	a.Site, a.Zone = z.settings.Site, z.settings.Zone
	a.IssuedAt = instant(at)
	a.Cautions = advice.UsualCautions(a.Action)
	state := StatePending
	if a.Action == advice.Inspect {
		state = ""
	} else {
		a.DecideBy = z.decideBy(a)
		p.AskedToday++
	}
	drain := 0.0
	if a.Expected != nil && a.Setpoints != nil && a.Setpoints.ScheduledML() > 0 {
		drain = float64(a.Expected.DrainML) / float64(a.Setpoints.ScheduledML())
	}
	kept := *a // the desk has the words
	kept.Reasons, kept.Cautions, kept.Expected = nil, nil, nil
	z.plans = append(z.plans, planned{Advice: &kept, State: state, Drain: drain, Holds: z.m.Learned.Capacity.Mean})
	if len(z.plans) > maxPlans {
		k := z.least(at)
		z.plans = append(z.plans[:k], z.plans[k+1:]...)
	}
	z.out.Advice = a
	z.forecast(at, 0)
}

// least is the plan that can be forgotten first, the newest left out: an inspection, which
// nobody decides on, then one that is over, then the oldest.
func (z *Zone) least(at int64) int {
	now, over := instant(at), -1
	for i := range z.plans[:len(z.plans)-1] {
		q := &z.plans[i]
		if q.Advice.Action == advice.Inspect {
			return i
		}
		open := q.State == StateApproved || q.State == StatePending
		if over < 0 && !(open && now.Before(q.Advice.ValidUntil)) {
			over = i
		}
	}
	return max(over, 0)
}

// decideBy is when it is too late to decide: shortly before the first shot. A
// day without water can be decided on until its daytime ends.
func (z *Zone) decideBy(a *advice.Advice) time.Time {
	by := a.ValidUntil
	switch first := a.Setpoints.FirstShotAt; {
	case !first.IsZero():
		by = first.Add(-z.settings.DecideBeforeFirstShot)
	default:
		if end := z.settings.DayAt(a.ValidFrom).DaytimeEnd; end.After(a.IssuedAt.Add(leastDecideTime)) {
			by = end
		}
	}
	if earliest := a.IssuedAt.Add(time.Minute); by.Before(earliest) {
		by = earliest
	}
	return by
}

// id is a ULID made of the time and a hash of zone and sequence: the same
// events give the same ids.
func (z *Zone) id(at int64, sequence uint32) string {
	hash := sha256.Sum256(binary.BigEndian.AppendUint32([]byte(z.settings.Site+"/"+z.settings.Zone+"/"), sequence))
	var id ulid.ULID
	if err := id.SetTime(uint64(at)); err != nil {
		panic(err) // the year is past 10000
	}
	if err := id.SetEntropy(hash[:10]); err != nil {
		panic(err) // ten bytes are what it takes
	}
	return id.String()
}

// approved takes what the desk says became of an advice.
func (z *Zone) approved(a *Approval, at int64) {
	if a == nil {
		panic("zone " + z.settings.Zone + ": an approval event without content")
	}
	p := &z.m.Plans
	for i := range z.plans {
		q := &z.plans[i]
		if q.Advice.ID != a.Advice {
			continue
		}
		was := q.State
		if was == StatePending && a.State != StatePending && a.State != StateSuperseded && !q.Advice.IssuedAt.Before(z.settings.DayAt(q.Advice.ValidFrom).Start) {
			p.Deciding.took(instant(at).Sub(q.Advice.IssuedAt), a.State == StateExpired)
		}
		q.State, q.Note = a.State, a.Note
		q.Stood = q.Stood || a.State == StateApproved
		if a.Note != "" {
			z.m.Diagnosis.Said("decision", a.Note, at)
		}
		running := !q.Advice.ValidFrom.After(instant(at)) || q.Advice.ValidFrom.Before(z.today.day.Next)
		switch {
		case a.State == StateExpired && was == StatePending:
			p.RetryMs = at + askAgain.Milliseconds()
		case (a.State == StateRejected || a.State == StateWithdrawn) && running:
			p.Closed, p.ClosedDayMs = true, z.settings.DayAt(q.Advice.ValidFrom).Start.UnixMilli()
		}
		if a.State != was && (was != "" || a.State == StateApproved) {
			z.forecast(at, 0)
		}
	}
}

// unrecorded forgets the advice that could not be recorded; it is issued anew
// at the next look.
func (z *Zone) unrecorded(int64) {
	n := len(z.plans)
	if n == 0 {
		return
	}
	p := &z.m.Plans
	if last := z.plans[n-1].Advice; last.Action == advice.Inspect {
		p.InspectMs = 0
	} else {
		if last.ValidFrom.UnixMilli() >= p.IssuedForMs { // else one for a later day stands
			p.IssuedForMs = 0
		}
		p.AskedToday = max(0, p.AskedToday-1)
	}
	z.plans = z.plans[:n-1]
}
