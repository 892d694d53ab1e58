package desk

import (
	"slices"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// Outcome is what a decision led to. The result may be published once the
// changes are durable; if they cannot be made so, Unrecorded is the answer and
// the desk that gave this outcome is thrown away.
type Outcome struct {
	Decision wire.Decision // as far as it could be read
	Result   wire.Result
	Changes  wire.Changes
	desk     *Desk
	Repeated bool // it was accepted before, and the answer says so again
}

// Unrecorded answers a decision that could not be made durable.
func (o Outcome) Unrecorded(at time.Time) wire.Result {
	return wire.Refuse(o.Decision, advice.Refuse("ledger-unavailable-decision", advice.Name(o.Decision.Advice), o.desk.date(at)), at)
}

// refusal is why a decision changes nothing: its code of the wire, and a sentence of
// the catalogue.
type refusal advice.Reason

func refuse(code string, values ...advice.Value) *refusal {
	r := refusal(advice.Refuse(code, values...))
	return &r
}

// date is an instant as people of the site tell it.
func (d *Desk) date(t time.Time) advice.Value {
	loc := d.rules.Location
	if loc == nil {
		loc = time.UTC
	}
	return advice.Date(t, loc)
}

// Decide takes a decision as it came from the decision topic, at time now: a
// JSON object, or a compact JWS where the site lists deciders. An approval of
// what is approved already is refused as not-pending: the answer says by whom and
// when. The very message that approved it is answered as it was before.
func (d *Desk) Decide(payload []byte, now time.Time) Outcome {
	now = now.UTC()
	o := Outcome{desk: d}
	o.Changes = d.Tick(now)
	read, no := d.read(payload)
	o.Decision = read.decision
	if no != nil {
		// Not recorded: anybody can send these, and would fill the ledger.
		o.Result = wire.Refuse(o.Decision, advice.Reason(*no), now)
		return o
	}
	if at, ok := d.repeats(read); ok {
		o.Result, o.Repeated = wire.Accept(o.Decision, at), true
		return o
	}
	if no := d.take(&o.Changes, read, now); no != nil {
		o.Result = wire.Refuse(o.Decision, advice.Reason(*no), now)
		if !d.keepsRefusal(now) {
			return o
		}
	} else {
		o.Result = wire.Accept(o.Decision, now)
		o.Changes.Add(d.Tick(now))
	}
	o.Changes.Decisions = append(o.Changes.Decisions, wire.DecisionRecord{
		Site: d.site, Zone: d.zone, Decision: o.Decision, Result: o.Result,
		Hash: read.hash, Signed: read.signed,
	})
	return o
}

// keptRefusals is how many refused decisions of a zone go on record in a day. Who
// may write to the topic can have as many refused as he likes, and the ledger keeps
// decisions for ever; a person who tries again and again needs fewer (common
// practice, no source).
const keptRefusals = 20

// refusals counts those of one day.
type refusals struct {
	day   time.Time
	count int
}

// keepsRefusal counts a refusal and tells whether it goes on record.
func (d *Desk) keepsRefusal(now time.Time) bool {
	if day := now.Truncate(24 * time.Hour); !day.Equal(d.refused.day) {
		d.refused = refusals{day: day}
	}
	d.refused.count++
	return d.refused.count <= keptRefusals
}

// repeats tells whether this very decision was accepted before, and when, and
// all stands where it put it. A broker that was not told so, because the daemon
// ended between the record and the word of it, sends it again, and whoever sent it
// may still wait for the answer. Once anything has moved on, it is a replay.
func (d *Desk) repeats(r reading) (at time.Time, ok bool) {
	dec := &r.decision
	e := d.find(dec.Advice)
	if e == nil || !slices.Contains(e.taken, r.hash) {
		return time.Time{}, false
	}
	put := map[wire.Verdict]policy.ApprovalState{
		wire.Approve: policy.StateApproved, wire.Reject: policy.StateRejected, wire.Withdraw: policy.StateWithdrawn,
	}
	if e.advice.Approval.State != put[dec.Decision] {
		return time.Time{}, false
	}
	if dec.Covers != nil && (d.cover == nil || d.cover.Advice != dec.Advice) {
		return time.Time{}, false // the standing approval that it gave has ended
	}
	return e.advice.Approval.At, true
}

// take checks a decision of somebody who may decide, and does it.
func (d *Desk) take(ch *wire.Changes, r reading, now time.Time) *refusal {
	dec := &r.decision
	i := d.index(dec.Advice)
	if i < 0 {
		return d.endCoverOf(ch, dec, now)
	}
	e := d.entries[i]
	a := e.advice
	switch {
	case !a.Approval.Required:
		return refuse("not-pending-inspect", advice.Name(a.ID), advice.Name(string(dec.Decision)))
	case dec.Digest != a.Approval.Digest:
		return refuse("wrong-digest-advice", advice.Name(dec.Digest), advice.Name(a.ID), advice.Name(a.Approval.Digest))
	case r.signed && slices.Contains(e.taken, r.hash):
		return refuse("replayed-signed", advice.Name(a.ID), advice.Name(string(a.Approval.State)), d.date(a.Approval.At))
	}
	if dec.Decision == wire.Withdraw {
		return d.withdraw(ch, i, r, now)
	}
	if a.Approval.State == policy.StateExpired {
		return refuse("expired-undecided", advice.Name(a.ID), d.date(pendingUntil(a)), d.date(now))
	}
	if a.Approval.State != policy.StatePending {
		return d.decided(a)
	}
	if dec.Decision == wire.Reject {
		d.taken(i, r)
		d.move(ch, i, policy.StateRejected, now, dec.By, dec.Note)
		return nil
	}
	return d.approve(ch, i, r, now)
}

// approve approves entry i. What was approved before and waits for its turn is
// superseded: one advice stands. What is in force stays so until the handover.
func (d *Desk) approve(ch *wire.Changes, i int, r reading, now time.Time) *refusal {
	dec := &r.decision
	if dec.Covers != nil {
		if no := d.coverable(dec.Covers, now); no != nil {
			return no
		}
	}
	d.supersedeWaiting(ch, i, now)
	d.taken(i, r)
	d.move(ch, i, policy.StateApproved, now, dec.By, dec.Note)
	if dec.Covers != nil {
		d.startCover(ch, i, dec, now)
	}
	return nil
}

func (d *Desk) supersedeWaiting(ch *wire.Changes, newer int, now time.Time) {
	force := d.inForce(now)
	for j := range newer {
		if j != force && d.entries[j].advice.Approval.State == policy.StateApproved {
			d.move(ch, j, policy.StateSuperseded, now, "", "")
		}
	}
}

// withdraw takes back an approved advice, and with it the standing approval
// that it began or that it is under.
func (d *Desk) withdraw(ch *wire.Changes, i int, r reading, now time.Time) *refusal {
	dec := &r.decision
	a := d.entries[i].advice
	covering := d.cover != nil && (a.ID == d.cover.Advice || a.Approval.Under == d.cover.Advice)
	switch {
	case a.Approval.State == policy.StateApproved:
		d.taken(i, r)
		d.move(ch, i, policy.StateWithdrawn, now, dec.By, dec.Note)
	case covering:
		// The advice itself is closed; only the standing approval ends.
	case a.Approval.State == policy.StateExpired:
		return refuse("expired-over", advice.Name(a.ID), d.date(a.Approval.At))
	case a.Approval.State == policy.StatePending:
		return refuse("not-pending-waits", advice.Name(a.ID), d.date(pendingUntil(a)))
	default:
		return refuse("not-pending-nothing-left", advice.Name(a.ID), advice.Name(string(a.Approval.State)), d.date(a.Approval.At))
	}
	if covering {
		d.withdrawCover(ch, dec, now)
	}
	return nil
}

// taken notes that a decision was accepted on entry i.
func (d *Desk) taken(i int, r reading) {
	next := *d.entries[i]
	next.taken = append(slices.Clone(next.taken), r.hash)
	d.entries[i] = &next
}

// decided says why an advice that is not pending cannot be decided on.
func (d *Desk) decided(a *wire.Advice) *refusal {
	id, who, at := advice.Name(a.ID), advice.Name(a.Approval.By), d.date(a.Approval.At)
	switch a.Approval.State {
	case policy.StateRejected:
		return refuse("not-pending-rejected", id, who, at)
	case policy.StateWithdrawn:
		return refuse("not-pending-withdrawn", id, who, at)
	case policy.StateSuperseded:
		return refuse("not-pending-superseded", id, at, advice.Name(d.Standing().ID))
	}
	if a.Approval.Under != "" {
		return refuse("not-pending-under", id, at, who, advice.Name(a.Approval.Under), d.date(a.ValidUntil))
	}
	return refuse("not-pending-approved", id, who, at, d.date(a.ValidUntil))
}
