package service

import (
	"context"
	"slices"
	"time"

	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// nameTelemetry has the first link of this process go on with the session of telemetry
// of before a restart, whatever site came first then, and has others of ours cleared.
// Where the ledger cannot say which it was, none is: readings may wait there.
func (s *Service) nameTelemetry(l *link.Link) {
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	former, err := s.ledger.Anchors(ctx)
	if err == nil {
		l.Forget(former, func(site string) string { return wire.Topics{Root: s.Settings.TopicRoot, Site: site}.Status() })
		err = s.ledger.AddAnchor(ctx, l.Anchor())
	}
	if err != nil {
		s.Log.Warn("the name of the telemetry session not held against the record: what the broker kept for another is not fetched", "error", err)
	}
}

// renameTelemetry notes the name that telemetry goes by after a reload. The session of
// before was given up with its site.
func (s *Service) renameTelemetry(before, l *link.Link) {
	if before.Anchor() == l.Anchor() {
		return
	}
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	err := s.ledger.AddAnchor(ctx, l.Anchor())
	if err == nil {
		err = s.ledger.DropAnchors(ctx, []string{before.Anchor()})
	}
	if err != nil {
		s.Log.Warn("the new name of the telemetry session is not on record: what the broker keeps for it may not be fetched after a restart", "error", err)
	}
}

// clearedTelemetry forgets the names of sessions that the broker has no more.
func (s *Service) clearedTelemetry(anchor string) {
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
	defer stop()
	former, err := s.ledger.Anchors(ctx)
	if err == nil {
		err = s.ledger.DropAnchors(ctx, slices.DeleteFunc(former, func(site string) bool { return site == anchor }))
	}
	if err != nil {
		s.Log.Warn("names of former telemetry sessions stay on record: they are cleared again at the next start", "error", err)
	}
}
