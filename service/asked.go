package service

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"rhizostat/service/link"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// asking is the question whether the sites that a reload adds are free.
type asking struct {
	sites []*site.Site
	stop  context.CancelFunc
	done  chan struct{}
	err   error // once done is closed
}

func (a *asking) answered() <-chan struct{} {
	if a == nil {
		return nil // nobody asked
	}
	return a.done
}

func (a *asking) end() {
	if a != nil {
		a.stop()
		<-a.done
	}
}

// ask looks whether another daemon serves one of the sites that a reload adds,
// while the old sites are served on: a site too many must not end the others.
func (s *Service) ask(ctx context.Context, h *house, sites []*site.Site) *asking {
	ctx, stop := context.WithCancel(ctx)
	a := &asking{sites: sites, stop: stop, done: make(chan struct{})}
	var added []link.Site
	var names []string
	for _, st := range sites {
		if !slices.ContainsFunc(h.sites, func(old *site.Site) bool { return old.Name == st.Name }) {
			names = append(names, st.Name)
			added = append(added, link.Site{ID: st.Name, Status: wire.Topics{Root: s.Settings.TopicRoot, Site: st.Name}.Status()})
		}
	}
	if len(added) == 0 || s.Settings.Standby && !s.link.Connected() { // a standby that waits may wait for these too
		close(a.done)
		return a
	}
	go func() {
		defer close(a.done)
		if err := link.New(s.linkSettings(), nil, added, link.Handlers{Claim: s.claim}, s.Log).Precede(ctx, false); err != nil {
			a.err = fmt.Errorf("the files add %s: %w; then reload again", strings.Join(names, ", "), err)
		}
	}()
	return a
}
