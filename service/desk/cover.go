package desk

import (
	"slices"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// coverable tells whether the site file allows such a standing approval.
func (d *Desk) coverable(c *wire.Covers, now time.Time) *refusal {
	if !d.rules.StandingAllowed {
		return refuse("not-allowed-covers", advice.Name(d.site), advice.Name(d.zone))
	}
	if !c.Until.After(now) {
		return refuse("not-allowed-covers-past", d.date(c.Until), d.date(now))
	}
	if latest := now.Add(d.rules.StandingMax); c.Until.After(latest) {
		return refuse("not-allowed-covers-long", d.date(c.Until), advice.Number(d.rules.StandingMax.Hours()/24), d.date(latest))
	}
	return nil
}

// startCover lets the approval of entry i stand for later advice. It takes the
// place of an earlier one.
func (d *Desk) startCover(ch *wire.Changes, i int, dec *wire.Decision, now time.Time) {
	if d.cover != nil {
		d.endCover(ch, dec.By, now)
	}
	a := d.entries[i].advice
	d.cover = &wire.CoverRecord{
		Site: d.site, Zone: d.zone, Advice: a.ID, Digest: a.Approval.Digest, Action: a.Action,
		By: dec.By, At: now.Truncate(time.Second), Limits: *dec.Covers, Live: true,
	}
	ch.Covers = append(ch.Covers, *d.cover)
}

func (d *Desk) endCover(ch *wire.Changes, by string, at time.Time) {
	ended := *d.cover
	ended.Live, ended.EndedBy, ended.EndedAt = false, by, at.Truncate(time.Second)
	ch.Covers = append(ch.Covers, ended)
	d.cover = nil
}

// endCoverOf ends the standing approval that was given with an advice which
// has long been over.
func (d *Desk) endCoverOf(ch *wire.Changes, dec *wire.Decision, now time.Time) *refusal {
	if d.cover == nil || dec.Decision != wire.Withdraw || dec.Advice != d.cover.Advice {
		if s := d.Standing(); s != nil {
			return refuse("unknown-advice-other", advice.Name(dec.Advice), advice.Name(d.zone), advice.Name(s.ID), d.date(s.ValidUntil))
		}
		return refuse("unknown-advice-none", advice.Name(dec.Advice), advice.Name(d.zone))
	}
	if dec.Digest != d.cover.Digest {
		return refuse("wrong-digest-standing", advice.Name(dec.Digest), advice.Name(d.cover.Advice), advice.Name(d.cover.Digest))
	}
	d.withdrawCover(ch, dec, now)
	return nil
}

// withdrawCover ends the standing approval and takes back all that is approved
// by it.
func (d *Desk) withdrawCover(ch *wire.Changes, dec *wire.Decision, now time.Time) {
	name := d.cover.Advice
	d.endCover(ch, dec.By, now)
	for i, e := range d.entries {
		a := e.advice
		if a.Approval.State == policy.StateApproved && (a.ID == name || a.Approval.Under == name) {
			d.move(ch, i, policy.StateWithdrawn, now, dec.By, dec.Note)
		}
	}
}

// covered tells whether an advice lies inside the standing approval: of the
// same action, every volume and every shot inside its limits, the window of its
// shots inside the hours of one day, no shot after its end.
func (d *Desk) covered(a *wire.Advice, now time.Time) bool {
	c := d.cover
	if c == nil || !d.rules.StandingAllowed || !now.Before(c.Limits.Until) || a.Action != c.Action || !d.decides(c.By) {
		return false
	}
	s := a.Setpoints
	if s.MaxVolumeML > c.Limits.MaxVolumeML || s.ShotVolumeML > c.Limits.MaxShotML {
		return false
	}
	if s.FirstShotAt.IsZero() { // withhold: it lasts until its validity ends
		return !a.ValidUntil.After(c.Limits.Until)
	}
	scheduled := 0
	for _, shot := range s.Schedule {
		scheduled += shot.VolumeML
		if shot.VolumeML > c.Limits.MaxShotML || !d.insideHours(shot.At) {
			return false
		}
	}
	return scheduled <= c.Limits.MaxVolumeML && d.insideHours(s.FirstShotAt) && d.insideHours(s.LastShotBy) &&
		d.sameDay(s.FirstShotAt, s.LastShotBy)
}

// decides tells whether a person may still approve advice of the zone: who has
// left the site file goes on approving no more than he could by a decision.
func (d *Desk) decides(name string) bool {
	if len(d.rules.Deciders) == 0 {
		return true
	}
	i := slices.IndexFunc(d.rules.Deciders, func(x Decider) bool { return x.Name == name })
	return i >= 0 && d.allowed(&d.rules.Deciders[i], &wire.Decision{Decision: wire.Approve}) == nil
}

// sameDay tells whether two times lie on the same local day. A controller gives
// shots at its trigger at any time between the first and the last: where these
// are of two days, the night lies between, which the hours were to keep dry.
func (d *Desk) sameDay(a, b time.Time) bool {
	y, m, day := a.In(d.rules.Location).Date()
	y2, m2, day2 := b.In(d.rules.Location).Date()
	return y == y2 && m == m2 && day == day2
}

// insideHours tells whether a shot at t is inside the hours and days of the
// standing approval.
func (d *Desk) insideHours(t time.Time) bool {
	local := t.In(d.rules.Location)
	minute := wire.ClockTime(local.Hour()*60 + local.Minute())
	if local.Second() > 0 && minute == d.cover.Limits.LatestShot {
		return false
	}
	return minute >= d.cover.Limits.EarliestShot && minute <= d.cover.Limits.LatestShot && !t.After(d.cover.Limits.Until)
}

// approveUnder approves entry i by the standing approval.
func (d *Desk) approveUnder(ch *wire.Changes, i int, now time.Time) {
	d.supersedeWaiting(ch, i, now)
	e := d.entries[i]
	a := *e.whole()
	a.Approval.State, a.Approval.By, a.Approval.At, a.Approval.Under = policy.StateApproved, d.cover.By, now.Truncate(time.Second), d.cover.Advice
	d.entries[i] = &entry{advice: &a, sequence: e.sequence}
	d.issued(ch, i, now)
}
