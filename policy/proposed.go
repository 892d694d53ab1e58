package policy

import (
	"crypto/sha256"
	"encoding/binary"
	"slices"
	"time"

	"github.com/oklog/ulid/v2"

	"rhizostat/policy/advice"
	"rhizostat/policy/guard"
	"rhizostat/policy/plan"
)

// maxPlans bounds what is kept of past advice: the one in force, the next, and two
// that ended or ask to look.
const maxPlans = 4

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
		if now := verdict.Setpoints; now != nil && now.MaxVolumeML < a.Setpoints.MaxVolumeML {
			a.Reasons = withoutMost(a.Reasons)
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

// withoutMost leaves out what was said of the volume that may be given on a day: the guard
// has lowered it, and says so.
func withoutMost(reasons []advice.Reason) []advice.Reason {
	return slices.DeleteFunc(slices.Clone(reasons), func(r advice.Reason) bool { return r.Code == "spread" || r.Code == "given-already" })
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
	for i := range z.plans {
		if q := &z.plans[i].Advice; !q.ValidUntil.After(a.IssuedAt) {
			q.Setpoints = spent(q.Setpoints)
		}
	}
	if len(z.plans) >= maxPlans {
		k := z.least(at)
		z.plans = slices.Delete(z.plans, k, k+1)
	}
	z.plans = append(z.plans, planned{Advice: remember(a), State: state, Drain: drain, Holds: z.m.Learned.Capacity.Mean})
	z.scratch.out.Advice = a
	z.forecast(at, 0)
}

// spent are setpoints of a day that is over: its schedule as one shot, for nobody asks
// any more when the others were.
func spent(s *advice.Setpoints) *advice.Setpoints {
	if s == nil || len(s.Schedule) < 2 {
		return s
	}
	c := *s
	c.TriggerByProbe = nil
	c.Schedule = []advice.Shot{{At: s.FirstShotAt, VolumeML: s.ScheduledML()}}
	return &c
}

// least is the plan that can be forgotten first, for a new one: an inspection, which
// nobody decides on, then one that is over, then the oldest.
func (z *Zone) least(at int64) int {
	now, over := instant(at), -1
	for i := range z.plans {
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
		if was == StatePending {
			p.Deciding.heard(a.State)
		}
		q.State, q.Note = a.State, a.Note
		q.Stood = q.Stood || a.State == StateApproved
		if a.Note != "" {
			z.said("decision", a.Note, at, at)
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
	p, d := &z.m.Plans, &z.m.Diagnosis
	switch last := &z.plans[n-1].Advice; {
	case z.plans[n-1].Asks == asksFault:
		d.Inspected, d.AskedMs = 0, 0
	case z.plans[n-1].Asks == asksVolume:
		d.Size.AskedMs = 0
	case last.Action == advice.Inspect:
		p.InspectMs = 0
	default:
		if last.ValidFrom.UnixMilli() >= p.IssuedForMs { // else one for a later day stands
			p.IssuedForMs = 0
		}
		p.AskedToday = max(0, p.AskedToday-1)
	}
	z.plans = slices.Delete(z.plans, n-1, n)
}
