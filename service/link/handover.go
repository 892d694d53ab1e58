package link

import (
	"context"
	"fmt"
	"maps"
	"slices"
)

// Quit has a site that a reload has taken away leave nothing on the broker that
// waits for it.
func (l *Link) Quit(site int) {
	l.control[site].quits.Store(true)
	if l.sites[site].ID == l.anchor {
		l.telemetry.quits.Store(true)
	}
}

// Follow takes over from the link of before a reload which sites still say that
// they are online, whom it gave way to, which answers have not been published, and
// what the broker must send no more: it keeps the sessions and with them each filter
// that was ever asked for.
func (l *Link) Follow(before *Link) {
	l.followName(before)
	others := before.guard.gaveWayTo()
	maps.DeleteFunc(others, func(topic string, _ sighting) bool {
		return !slices.ContainsFunc(l.sites, func(s Site) bool { return s.Status == topic })
	})
	l.guard.mu.Lock()
	l.guard.others = others
	l.guard.mu.Unlock()
	for i := range l.sites {
		for k := range before.sites {
			if l.sites[i].Status != before.sites[k].Status {
				continue
			}
			if before.control[k].adrift.Load() {
				l.control[i].adrift.Store(true)
			}
			l.outboxes[i].follow(before.outboxes[k])
		}
	}
}

// follow drops what the session of before had and this one has not.
func (s *session) follow(before *session) { s.drop(slices.Concat(before.filters, before.dropped)) }

// drop has the broker send no more on filters that nobody asks for.
func (s *session) drop(filters []string) {
	for _, f := range filters {
		if !slices.Contains(s.filters, f) && !slices.Contains(s.dropped, f) {
			s.dropped = append(s.dropped, f)
		}
	}
}

// Drop names telemetry filters that a process before this one may have left in the
// broker's session. Those that are not asked for any more are gone once Listening is
// called.
func (l *Link) Drop(filters []string) { l.telemetry.drop(filters) }

// Farewell says offline for the sites that would say online for ever: they
// stayed online for a reload that never came to its end. What another daemon
// says is left alone.
func (l *Link) Farewell(ctx context.Context) error {
	var adrift []*Site
	var topics []string
	for i, s := range l.control {
		if s.adrift.Load() {
			adrift, topics = append(adrift, &l.sites[i]), append(topics, l.sites[i].Status)
		}
	}
	if len(adrift) == 0 {
		return nil
	}
	seen := &lookOut{claim: l.handlers.Claim}
	client, err := l.visit(ctx, topics, seen, make(chan error, 1))
	if err != nil {
		return fmt.Errorf("offline was not said: %w", err)
	}
	defer client.Disconnect(100)
	for _, site := range adrift {
		s, err := seen.await(ctx, site.Status)
		if err != nil {
			return fmt.Errorf("offline was not said on %s: %w", site.Status, err)
		}
		if s.claim.Online && s.claim.Own {
			if err := wait(ctx, client.Publish(site.Status, 1, true, site.Ended), farewell); err != nil {
				return fmt.Errorf("offline was not said on %s: %w", site.Status, err)
			}
		}
	}
	return nil
}
