package desk

import (
	"fmt"
	"slices"

	"rhizostat/policy"
	"rhizostat/service/wire"
)

// Refused is an advice or a standing approval of the ledger that a desk does not take.
type Refused struct {
	Advice   string // its id; of a standing approval, of the advice that it was given with
	Sequence int64  // of an advice; 0: a standing approval
	Err      error  // a sentence
}

// Restore makes a desk out of what the ledger has of a zone: the advice that
// was not forgotten and the standing approval that has not ended. It goes on
// exactly as if it had never stopped. An advice whose content does not have the
// digest that was shown and approved is refused: the ledger is damaged, and nothing of it
// may reach a controller or be approved. The rest of the zone goes on.
func Restore(site, zone string, rules *Rules, advice []wire.AdviceRecord, covers []wire.CoverRecord) (*Desk, []Refused) {
	d := New(site, zone, rules)
	var refused []Refused
	for _, r := range advice {
		a := r.Advice
		d.GoOnAfter(r.Sequence)
		if err := intact(a, site, zone); err != nil {
			refused = append(refused, Refused{a.ID, r.Sequence, err})
			continue
		}
		d.entries = append(d.entries, &entry{advice: a, sequence: r.Sequence, hold: holdOf(a), taken: r.Taken})
	}
	slices.SortFunc(d.entries, func(a, b *entry) int { return int(a.sequence - b.sequence) })
	for i := range d.entries {
		d.strip(i)
	}
	covers = slices.DeleteFunc(slices.Clone(covers), func(c wire.CoverRecord) bool { return !c.Live })
	if len(covers) == 1 {
		d.cover = &covers[0]
		return d, refused
	}
	for i := range covers { // nobody can tell which of them holds
		refused = append(refused, Refused{covers[i].Advice, 0, fmt.Errorf("standing approval %s of %s/%s: the ledger has %d of them; expected at most one", covers[i].Advice, site, zone, len(covers))})
	}
	return d, refused
}

// Newest is the place of the newest advice in the order of issue, be it one that was
// refused; 0 before the first.
func (d *Desk) Newest() int64 { return d.sequence }

// GoOnAfter has the next advice come after one in the order of issue: of one that cannot
// be read there may be no more than its place.
func (d *Desk) GoOnAfter(sequence int64) { d.sequence = max(d.sequence, sequence) }

// intact checks an advice from the ledger against its digest.
func intact(a *wire.Advice, site, zone string) error {
	if a.Site != site || a.Zone != zone {
		return fmt.Errorf("advice %s is of %s/%s and stands in the ledger among those of %s/%s", a.ID, a.Site, a.Zone, site, zone)
	}
	if !a.Approval.Required {
		return nil
	}
	if open(a.Approval.State) && a.Setpoints == nil {
		return fmt.Errorf("advice %s is %s in the ledger and has no setpoints", a.ID, a.Approval.State)
	}
	digest, err := a.Digest()
	if err != nil {
		return err
	}
	if digest != a.Approval.Digest {
		return fmt.Errorf("advice %s has digest %s in the ledger, its content has %s", a.ID, a.Approval.Digest, digest)
	}
	if a.Approval.State == policy.StateApproved && (a.Approval.By == "" || a.Approval.At.IsZero()) {
		return fmt.Errorf("advice %s is approved in the ledger, by nobody", a.ID)
	}
	return nil
}
