package service

import (
	"context"
	"errors"
	"strings"
	"sync"
	"time"

	"rhizostat/service/intake"
	"rhizostat/service/link"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// connect waits until no other daemon serves our sites, then keeps the link up.
// Where another one that precedes us turns up all the same, it waits anew.
func (s *Service) connect(ctx context.Context, l *link.Link) error {
	for ctx.Err() == nil {
		if err := s.precede(ctx, l); err != nil {
			return err
		}
		l.Hold(ctx)
	}
	return nil
}

// precede waits until no other daemon serves our sites. A broker that is away is
// waited for.
func (s *Service) precede(ctx context.Context, l *link.Link) error {
	for ctx.Err() == nil {
		s.waits.Store(s.Settings.Standby)
		err := l.Precede(ctx, s.Settings.Standby)
		s.waits.Store(false)
		s.metrics.Standby(false)
		if err == nil || errors.As(err, new(*link.OtherError)) {
			return err
		}
		if ctx.Err() == nil {
			s.Log.Warn("broker not reached; trying again", "error", err)
		}
		pause := time.NewTimer(2 * time.Second)
		select {
		case <-ctx.Done():
			pause.Stop()
		case <-pause.C:
		}
	}
	return nil
}

// claim judges a status. That of a process before us with our ledger, which the
// ledger's lock says is dead, is nobody's: after a power cut the broker still
// has it.
func (s *Service) claim(payload []byte) link.Claim {
	status, err := wire.ParseStatus(payload)
	if err != nil {
		s.warnings.warn(s.Log, "malformed-status", "status that cannot be read", "error", err)
		return link.Claim{}
	}
	own := status.Instance == s.instance
	claim := link.Claim{
		Online: status.Status == wire.Online, Lost: status.Status == wire.Offline && !status.Ended,
		Own: own, Former: !own && status.Ledger == s.identity, Before: s.before(status), Namesake: clientOf(status.Instance) == s.Settings.ClientID,
	}
	if claim.Online && !own && !claim.Former && s.waits.Load() {
		s.metrics.Standby(true)
	}
	return claim
}

// clientOf is the client id of an instance, which has a random ending.
func clientOf(instance string) string {
	return instance[:max(0, strings.LastIndexByte(instance, '-'))]
}

// before reports whether a daemon precedes this one where both serve a site: the
// older one does, for people know its advice. Both must come to the same.
func (s *Service) before(other wire.Status) bool {
	if !other.StartedAt.Equal(s.began) {
		return other.StartedAt.Before(s.began)
	}
	return other.Instance < s.instance
}

func (s *Service) linkSettings() link.Settings {
	return link.Settings{
		Broker: s.Settings.Broker, ClientID: s.Settings.ClientID, Username: s.Settings.Username, PasswordFile: s.Settings.PasswordFile,
		CAFile: s.Settings.CAFile, CertFile: s.Settings.CertFile, KeyFile: s.Settings.KeyFile,
	}
}

// newLink joins the house to a link; the house of before a reload is still the service's.
func (s *Service) newLink(h *house) (*link.Link, error) {
	var sites []link.Site
	for i, st := range h.sites {
		t := h.topics[i]
		status := wire.Status{Status: wire.Online, Version: s.Version, StartedAt: s.began, Instance: s.instance, Ledger: s.identity}
		online, err := status.Marshal()
		if err != nil {
			return nil, err
		}
		status.Status = wire.Offline
		offline, err := status.Marshal()
		if err != nil {
			return nil, err
		}
		status.Ended = true
		ended, err := status.Marshal()
		if err != nil {
			return nil, err
		}
		sites = append(sites, link.Site{
			ID: st.Name, Status: t.Status(), Online: online, Offline: offline, Ended: ended,
			Control:  []string{t.Decision("+"), t.Event("+")},
			ReadBack: []string{t.Advice("+"), t.Setpoint("+"), t.SetpointNumber("+", "+")},
		})
	}
	var l *link.Link
	var once, gone sync.Once
	filters := h.router.Filters()
	former := s.formerFilters(filters)
	var crowded func() bool
	if h.settings.Clock == "telemetry" { // whoever plays a recording can wait
		crowded = func() bool { return h.crowded() }
	}
	l = link.New(s.linkSettings(), filters, sites, link.Handlers{
		Telemetry: func(topic string, payload []byte, retained bool) {
			decode := h.router.Decode
			if retained {
				decode = h.router.DecodeRetained
			}
			h.take(decode, topic, payload, time.Now().UTC())
		},
		Crowded: crowded,
		Control: func(_ int, topic string, payload []byte, ack func()) {
			if !h.person(topic, payload, time.Now().UTC(), ack) {
				h.metrics.Refused("unknown-zone")
				h.warnings.warn(h.log, "unknown-zone", "message for a zone that is not ours", "topic", topic)
				ack()
			}
		},
		Ignored: func(topic string) {
			h.metrics.Refused(string(intake.Retained))
			h.warnings.warn(h.log, string(intake.Retained), "retained decision or event ignored: nobody says it now; publish it without the retain flag", "topic", topic)
		},
		ReadBack: func(site int, topic string, payload []byte) { s.readBack(h, l, site, topic, payload) },
		Resync: func(site int) {
			for _, zone := range h.zoneOf[site] {
				h.control(zone, shard.Control{Kind: shard.Resync, Time: time.Now().UTC()})
			}
		},
		Changed: func() {
			connected := l.Connected()
			s.metrics.BrokerConnected(connected)
			if connected && s.Started != nil {
				once.Do(s.Started)
			}
		},
		Listening: func() {
			h.router.Reconnected(time.Now().UTC())
			gone.Do(func() { s.forgetFilters(former) })
		},
		Cleared: func() { s.clearedTelemetry(l.Anchor()) },
		Claim:   s.claim,
	}, s.Log)
	l.Drop(former)
	h.publish = func(site int, m wire.Message, _ time.Time) { publish(l, site, m) }
	for i, st := range h.sites {
		for _, m := range s.left[st.Name] {
			publish(l, i, m)
		}
	}
	s.left = nil
	s.takeBack(l, s.house, h)
	return l, nil
}

// publish queues a message of a site.
func publish(l *link.Link, site int, m wire.Message) {
	if m.Latest != "" {
		l.Command(site, m.Topic, m.Latest, m.Payload, nil)
		return
	}
	l.Publish(site, m.Topic, m.Payload, m.QoS, m.Retain)
}

// readBack hands a retained output to its zone; one of a zone that is no longer
// ours is cleared, so that no controller follows it.
func (s *Service) readBack(h *house, l *link.Link, site int, topic string, payload []byte) {
	p, ok := wire.Parse(h.settings.TopicRoot, topic)
	if !ok || len(payload) == 0 {
		return
	}
	zone, ok := h.find(p.Site, p.Zone)
	if !ok {
		s.Log.Warn("cleared what stood for a zone that the site no longer has", "topic", topic)
		l.Publish(site, topic, nil, 1, true)
		if p.Kind == wire.KindAdvice { // what is not read back goes with it
			l.Publish(site, h.topics[site].State(p.Zone), nil, 1, true)
			l.Publish(site, h.topics[site].Forecast(p.Zone), nil, 1, true)
		}
		return
	}
	h.control(zone, shard.Control{Kind: shard.ReadBack, Topic: topic, Payload: payload, Time: time.Now().UTC()})
}
