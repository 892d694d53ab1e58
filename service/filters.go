package service

import (
	"context"
	"slices"
	"time"
)

// formerFilters are topic filters that the broker may still have in our session, from
// before a restart, and that are asked for no longer; those that are, are noted before
// the broker is asked. A ledger that cannot say costs messages that nobody wants.
func (s *Service) formerFilters(filters []string) []string {
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	known, err := s.ledger.Filters(ctx)
	fresh := without(filters, known)
	if err == nil {
		err = s.ledger.AddFilters(ctx, fresh)
	}
	if err != nil {
		s.Log.Warn("topic filters not held against the record: the broker may send what no site file maps any more", "error", err)
	}
	return without(known, filters)
}

// without are those of a list that are not in another.
func without(list, others []string) []string {
	in := make(map[string]bool, len(others))
	for _, f := range others {
		in[f] = true
	}
	return slices.DeleteFunc(slices.Clone(list), func(f string) bool { return in[f] })
}

// forgetFilters forgets them once the broker has them no more.
func (s *Service) forgetFilters(former []string) {
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	if err := s.ledger.DropFilters(ctx, former); err != nil {
		s.Log.Warn("topic filters stay on record: they are given up again at the next start", "filters", len(former), "error", err)
	}
}
