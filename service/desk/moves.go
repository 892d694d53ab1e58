package desk

import (
	"fmt"
	"slices"
	"time"

	"rhizostat/policy"
	"rhizostat/service/wire"
)

// moves are all that an approval may do.
var moves = [...]struct{ from, to policy.ApprovalState }{
	{policy.StatePending, policy.StateApproved},
	{policy.StatePending, policy.StateRejected},
	{policy.StatePending, policy.StateExpired},
	{policy.StatePending, policy.StateSuperseded},
	{policy.StateApproved, policy.StateWithdrawn},
	{policy.StateApproved, policy.StateExpired},
	{policy.StateApproved, policy.StateSuperseded},
}

// open tells whether an approval can still move.
func open(s policy.ApprovalState) bool {
	return s == policy.StatePending || s == policy.StateApproved
}

// move moves entry i and records it. A move outside the table is a defect.
func (d *Desk) move(ch *wire.Changes, i int, to policy.ApprovalState, now time.Time, by, note string) {
	e := d.entries[i]
	from := e.advice.Approval.State
	if !slices.Contains(moves[:], struct{ from, to policy.ApprovalState }{from, to}) {
		panic(fmt.Sprintf("desk %s/%s: advice %s cannot move from %q to %q", d.site, d.zone, e.advice.ID, from, to))
	}
	a := *e.whole()
	a.Approval.State, a.Approval.By, a.Approval.At, a.Approval.Note = to, by, now.Truncate(time.Second), note
	next := &entry{advice: &a, sequence: e.sequence, taken: e.taken}
	next.hold = holdOf(&a)
	d.entries[i] = next
	d.record(ch, i)
	ch.Moves = append(ch.Moves, wire.Move{
		Site: d.site, Zone: d.zone, Advice: a.ID, Digest: a.Approval.Digest,
		From: from, To: to, At: now, By: by, Note: note,
	})
	if !open(to) {
		d.strip(i)
	}
}

// issued records the first state of entry i.
func (d *Desk) issued(ch *wire.Changes, i int, now time.Time) {
	d.record(ch, i)
	a := d.entries[i].advice
	ch.Moves = append(ch.Moves, wire.Move{
		Site: d.site, Zone: d.zone, Advice: a.ID, Digest: a.Approval.Digest,
		To: a.Approval.State, At: now, By: a.Approval.By, Under: a.Approval.Under,
	})
}

func (d *Desk) record(ch *wire.Changes, i int) {
	e := d.entries[i]
	ch.Advice = append(ch.Advice, wire.AdviceRecord{Advice: e.whole(), Sequence: e.sequence, Taken: e.taken})
	for j := range d.entries[:len(d.entries)-1] {
		d.strip(j) // the one that was newest may have been closed before
	}
}

// strip drops what only people read from a closed advice that no longer stands
// on the advice topic; the ledger has it. Fifty thousand zones live in one
// process.
func (d *Desk) strip(i int) {
	e := d.entries[i]
	if i == len(d.entries)-1 || open(e.advice.Approval.State) || e.advice.Reasons == nil && e.folded == nil {
		return
	}
	next := *e
	next.advice, next.folded, next.lastShot = bare(e.advice), nil, time.Time{}
	d.entries[i] = &next
}

// handover lets the newest approved advice take over: once the older one has no
// shot left to give, at the latest when the newer one becomes valid.
func (d *Desk) handover(ch *wire.Changes, now time.Time) {
	older := -1
	for i := range d.entries {
		a := d.entries[i].advice
		if a.Approval.State != policy.StateApproved {
			continue
		}
		if older >= 0 {
			done := d.entries[older].lastShotBy()
			if now.Before(done) && now.Before(a.ValidFrom) {
				return
			}
			d.move(ch, older, policy.StateSuperseded, now, "", "")
		}
		older = i
	}
}

// holdOf is until when a withdrawn advice keeps a later day's setpoints from
// taking its place. A person who withdraws during the day wants the controller
// back on its own programme for the rest of it, not on the setpoints of
// tomorrow, which give no water today.
func holdOf(a *wire.Advice) time.Time {
	if a.Approval.State != policy.StateWithdrawn || a.Approval.At.Before(a.ValidFrom) || a.Setpoints == nil {
		return time.Time{}
	}
	if a.Setpoints.LastShotBy.IsZero() {
		return a.ValidUntil
	}
	return a.Setpoints.LastShotBy
}

func (d *Desk) hold() time.Time {
	var hold time.Time
	for _, e := range d.entries {
		if e.hold.After(hold) {
			hold = e.hold
		}
	}
	return hold
}

// inForce is the index of the approved advice that holds the setpoint topics,
// -1 when none does: the oldest approved one, unless it is one for a later day
// and the current day's was withdrawn. Past its validity none is, even where a
// ledger that cannot be written keeps the expiry from being recorded.
func (d *Desk) inForce(now time.Time) int {
	for i, e := range d.entries {
		if e.advice.Approval.State != policy.StateApproved || !now.Before(e.advice.ValidUntil) {
			continue
		}
		if now.Before(e.advice.ValidFrom) && now.Before(d.hold()) {
			return -1
		}
		return i
	}
	return -1
}

// forget drops the oldest closed advice beyond keepClosed.
func (d *Desk) forget(ch *wire.Changes) {
	closed := 0
	for i := len(d.entries) - 2; i >= 0; i-- { // the newest always stays
		if open(d.entries[i].advice.Approval.State) {
			continue
		}
		if closed++; closed <= keepClosed {
			continue
		}
		ch.Forgotten = append(ch.Forgotten, wire.Forgotten{Site: d.site, Zone: d.zone, Advice: d.entries[i].advice.ID})
		d.entries = slices.Delete(d.entries, i, i+1)
	}
}

func (d *Desk) find(id string) *entry {
	if i := d.index(id); i >= 0 {
		return d.entries[i]
	}
	return nil
}

func (d *Desk) index(id string) int {
	return slices.IndexFunc(d.entries, func(e *entry) bool { return e.advice.ID == id })
}
