package desk

import (
	"fmt"
	"slices"

	"rhizostat/policy"
	"rhizostat/service/wire"
)

// Restore makes a desk out of what the ledger has of a zone: the advice that
// was not forgotten and the standing approval that has not ended. It goes on
// exactly as if it had never stopped. An approved advice whose content does not
// have the digest it was approved with is an error: the ledger is damaged, and
// nothing of it may reach a controller.
func Restore(site, zone string, rules *Rules, advice []wire.AdviceRecord, covers []wire.CoverRecord) (*Desk, error) {
	d := New(site, zone, rules)
	where := fmt.Sprintf("desk %s/%s", site, zone)
	for _, r := range advice {
		a := r.Advice
		if a.Site != site || a.Zone != zone {
			return nil, fmt.Errorf("%s: the ledger has advice %s of %s/%s among it", where, a.ID, a.Site, a.Zone)
		}
		if err := intact(a); err != nil {
			return nil, fmt.Errorf("%s: %w", where, err)
		}
		d.entries = append(d.entries, &entry{advice: a, sequence: r.Sequence, hold: holdOf(a), taken: r.Taken})
		d.sequence = max(d.sequence, r.Sequence)
	}
	slices.SortFunc(d.entries, func(a, b *entry) int { return int(a.sequence - b.sequence) })
	for i := range d.entries {
		d.strip(i)
	}
	for i := range covers {
		if !covers[i].Live {
			continue
		}
		if d.cover != nil {
			return nil, fmt.Errorf("%s: the ledger has two standing approvals, with advice %s and %s; expected at most one", where, d.cover.Advice, covers[i].Advice)
		}
		c := covers[i]
		d.cover = &c
	}
	return d, nil
}

// intact checks an advice from the ledger against its digest.
func intact(a *wire.Advice) error {
	if !a.Approval.Required {
		return nil
	}
	if open(a.Approval.State) && a.Setpoints == nil {
		return fmt.Errorf("advice %s is %s in the ledger and has no setpoints; restore the ledger from a copy, or remove the advice", a.ID, a.Approval.State)
	}
	digest, err := a.Digest()
	if err != nil {
		return err
	}
	if digest != a.Approval.Digest {
		return fmt.Errorf("advice %s has digest %s in the ledger, its content has %s; restore the ledger from a copy, or remove the advice", a.ID, a.Approval.Digest, digest)
	}
	if a.Approval.State == policy.StateApproved && (a.Approval.By == "" || a.Approval.At.IsZero()) {
		return fmt.Errorf("advice %s is approved in the ledger, by nobody; restore the ledger from a copy, or remove the advice", a.ID)
	}
	return nil
}
