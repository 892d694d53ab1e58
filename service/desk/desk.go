// Package desk is where advice meets people: one zone's approvals, from the
// proposal to the end of its validity. It is pure: times are passed in, what
// must be durable comes out as changes, and nothing is published that is not in
// them. Only an advice approved with its exact digest ever comes to the
// setpoint topics.
//
// An advice moves pending -> approved, rejected, expired or superseded, and
// approved -> withdrawn, expired or superseded; nothing else moves it. The
// newest advice of a zone stands on the advice topic. Beside it an older
// approved one may still be in force, and a second approved one may wait behind
// that for its turn.
//
// The caller works on a Clone, makes the changes durable, and only then takes
// the clone for the desk: a ledger that fails changes nothing here.
package desk

import (
	"fmt"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// Rules are what the site file says about approvals of one zone. They are read
// only; a reload gives new ones.
type Rules struct {
	Location        *time.Location // local time of the site, for the hours of a standing approval
	Deciders        []Decider      // empty: the broker's access list guards the topic, and plain decisions count
	StandingAllowed bool           // an approval may cover later advice
	StandingMax     time.Duration  // for how long at most
}

// keepClosed is how many advice that are no longer open a desk remembers, so
// that a late decision on one is told what became of it.
const keepClosed = 2

// Desk holds the approvals of one zone. The zero value is not usable.
type Desk struct {
	site, zone string
	rules      *Rules
	entries    []*entry // in order of issue; entries are never changed, only replaced
	cover      *wire.CoverRecord
	sequence   int64    // of the newest advice
	refused    refusals // of the day, begun anew by a restart
}

// entry is one advice the desk holds.
type entry struct {
	advice   *wire.Advice // stripped to its approval when it is closed and not the newest
	folded   wire.Folded  // all of the advice, which then lacks its content; nil: see Fold
	lastShot time.Time    // of a folded one
	sequence int64
	hold     time.Time // see holdOf
	taken    []string
}

// New makes an empty desk.
func New(site, zone string, rules *Rules) *Desk {
	return &Desk{site: site, zone: zone, rules: rules}
}

// Clone gives a desk that moves on its own.
func (d *Desk) Clone() *Desk {
	c := *d
	c.entries = append([]*entry(nil), d.entries...)
	return &c
}

// SetRules takes the rules of a reloaded site file. What is approved stays so.
func (d *Desk) SetRules(r *Rules) { d.rules = r }

// Propose takes an advice that the engine has issued, at engine time now. It
// supersedes one that is pending; an approved one stays in force until the new
// one is approved too. An inspect asks for no approval. An advice inside a
// standing approval is approved at once. Proposing what is known already, as
// after a restart from an older snapshot, changes nothing.
func (d *Desk) Propose(a *advice.Advice, now time.Time) (wire.Changes, error) {
	w, err := wire.FromAdvice(a)
	if err != nil {
		return wire.Changes{}, err
	}
	if err := d.acceptable(w); err != nil {
		return wire.Changes{}, err
	}
	now = now.UTC()
	ch := d.Tick(now)
	if known := d.find(w.ID); known != nil {
		if known.advice.Approval.Digest != w.Approval.Digest {
			return ch, fmt.Errorf("desk %s/%s: advice %s was issued before with digest %s, now with %s; expected a new id for new content",
				d.site, d.zone, w.ID, known.advice.Approval.Digest, w.Approval.Digest)
		}
		return ch, nil
	}
	for i, e := range d.entries {
		if e.advice.Approval.State == policy.StatePending {
			d.move(&ch, i, policy.StateSuperseded, now, "", "")
		}
	}
	d.sequence++
	d.entries = append(d.entries, &entry{advice: w, sequence: d.sequence})
	last := len(d.entries) - 1
	switch {
	case !w.Approval.Required:
		d.record(&ch, last)
	case d.covered(w, now):
		d.approveUnder(&ch, last, now)
	default:
		d.issued(&ch, last, now)
	}
	ch.Add(d.Tick(now))
	return ch, nil
}

// Over ends an inspect that nobody need follow any more: it stands with the end of its validity
// now. What is unknown, needs an approval or is over already stays as it is.
func (d *Desk) Over(id string, now time.Time) wire.Changes {
	now = now.UTC().Truncate(time.Second)
	ch := d.Tick(now)
	i := d.index(id)
	if i < 0 || d.entries[i].advice.Approval.Required {
		return ch
	}
	a := *d.entries[i].whole()
	if !now.After(a.ValidFrom) || !now.Before(a.ValidUntil) {
		return ch
	}
	a.ValidUntil = now
	next := *d.entries[i]
	next.advice, next.folded, next.lastShot = &a, nil, time.Time{}
	d.entries[i] = &next
	d.record(&ch, i)
	return ch
}

// acceptable checks what the engine guarantees.
func (d *Desk) acceptable(w *wire.Advice) error {
	where := fmt.Sprintf("desk %s/%s: advice %s", d.site, d.zone, w.ID)
	switch {
	case w.Site != d.site || w.Zone != d.zone:
		return fmt.Errorf("%s is for %s/%s; expected the desk's own zone", where, w.Site, w.Zone)
	case w.ID == "":
		return fmt.Errorf("%s has no id", where)
	case !w.ValidFrom.Before(w.ValidUntil):
		return fmt.Errorf("%s is valid from %s until %s; expected the end after the start", where, clock(w.ValidFrom), clock(w.ValidUntil))
	case w.Approval.Required && w.Setpoints == nil:
		return fmt.Errorf("%s is %q without setpoints; only inspect has none", where, w.Action)
	case !w.Approval.Required && w.Setpoints != nil:
		return fmt.Errorf("%s is %q with setpoints; inspect has none", where, w.Action)
	case w.Approval.Required && w.Approval.DecideBy.IsZero():
		return fmt.Errorf("%s has no time to decide by", where)
	}
	return nil
}

// Tick lets time pass to now: what is pending past its decide_by expires, what
// is approved past its valid_until expires, and a newer approved advice takes
// over from an older one when its time has come.
func (d *Desk) Tick(now time.Time) wire.Changes {
	var ch wire.Changes
	now = now.UTC()
	if d.cover != nil && !now.Before(d.cover.Limits.Until) {
		d.endCover(&ch, "", d.cover.Limits.Until)
	}
	for i, e := range d.entries {
		a := e.advice
		switch a.Approval.State {
		case policy.StatePending:
			if due := pendingUntil(a); !now.Before(due) {
				d.move(&ch, i, policy.StateExpired, now, "", "")
			}
		case policy.StateApproved:
			if !now.Before(a.ValidUntil) {
				d.move(&ch, i, policy.StateExpired, now, "", "")
			}
		}
	}
	d.handover(&ch, now)
	d.forget(&ch)
	return ch
}

// pendingUntil is when an undecided advice can no longer be approved.
func pendingUntil(a *wire.Advice) time.Time {
	if a.ValidUntil.Before(a.Approval.DecideBy) {
		return a.ValidUntil
	}
	return a.Approval.DecideBy
}

// NextDue is when Tick, or a new look at Publications, has something to do next
// after now; zero when nothing is due.
func (d *Desk) NextDue(now time.Time) time.Time {
	var due time.Time
	sooner := func(t time.Time) {
		if !t.IsZero() && t.After(now) && (due.IsZero() || t.Before(due)) {
			due = t
		}
	}
	if d.cover != nil {
		sooner(d.cover.Limits.Until)
	}
	hold := d.hold()
	var older *entry
	for _, e := range d.entries {
		a := e.advice
		switch a.Approval.State {
		case policy.StatePending:
			sooner(pendingUntil(a))
		case policy.StateApproved:
			sooner(a.ValidUntil)
			sooner(a.ValidFrom)
			sooner(hold)
			if older != nil {
				sooner(older.lastShotBy())
			}
			older = e
		}
	}
	return due
}

// Standing is the newest advice, with its approval; nil before the first.
func (d *Desk) Standing() *wire.Advice {
	if len(d.entries) == 0 {
		return nil
	}
	return d.entries[len(d.entries)-1].whole()
}

// InForce is the approved advice that holds the setpoint topics at now, nil
// when nothing does.
func (d *Desk) InForce(now time.Time) *wire.Advice {
	if i := d.inForce(now.UTC()); i >= 0 {
		return d.entries[i].whole()
	}
	return nil
}

// InForceID is the id of that advice, "" when there is none.
func (d *Desk) InForceID(now time.Time) string {
	if i := d.inForce(now.UTC()); i >= 0 {
		return d.entries[i].advice.ID
	}
	return ""
}

// Pending tells whether the standing advice waits for a person.
func (d *Desk) Pending() bool { return !d.DecideBy().IsZero() }

// DecideBy is until when a person may decide on the standing advice, zero when it
// waits for nobody.
func (d *Desk) DecideBy() time.Time {
	if len(d.entries) == 0 {
		return time.Time{}
	}
	a := &d.entries[len(d.entries)-1].advice.Approval
	if a.State != policy.StatePending {
		return time.Time{}
	}
	return a.DecideBy
}

// Approvals tell where every advice stands that the desk holds, in order of
// issue, as an engine takes it that goes on from an older snapshot.
func (d *Desk) Approvals() []policy.Approval {
	out := make([]policy.Approval, 0, len(d.entries))
	for _, e := range d.entries {
		if a := e.advice; a.Approval.Required {
			out = append(out, policy.Approval{Advice: a.ID, State: a.Approval.State, Note: a.Approval.Note})
		}
	}
	return out
}

// Cover is the standing approval in force, nil when there is none.
func (d *Desk) Cover() *wire.CoverRecord { return d.cover }

// Setpoint is what a controller may be told at now, after Tick(now): the setpoints of
// the advice in force, nil when nothing is. All that goes to a controller, in whatever
// form, is made of it.
func (d *Desk) Setpoint(now time.Time) (*wire.Setpoint, error) {
	a := d.InForce(now)
	if a == nil {
		return nil, nil
	}
	return wire.SetpointOf(a)
}

// Publications are what must stand retained on the zone's advice and setpoint
// topics at now, after Tick(now); an empty payload clears a topic.
func (d *Desk) Publications(t wire.Topics, now time.Time) ([]wire.Message, error) {
	out := wire.Message{Topic: t.Advice(d.zone), QoS: 1, Retain: true}
	if n := len(d.entries); n > 0 {
		b, err := d.entries[n-1].payload()
		if err != nil {
			return nil, err
		}
		out.Payload = b
	}
	setpoint, err := d.Setpoint(now)
	if err != nil {
		return nil, err
	}
	setpoints, err := wire.SetpointMessages(t, d.zone, setpoint)
	if err != nil {
		return nil, err
	}
	return append([]wire.Message{out}, setpoints...), nil
}

func clock(t time.Time) string { return t.UTC().Format(time.RFC3339) }
