package link

import (
	"context"
	"fmt"
	"slices"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// listenFor names the session of telemetry after one of our sites. A site is served
// by one daemon, so no two of them come to the same client id, whatever else they
// have in common; of a standby and the daemon it waits for, both do, and what the
// broker keeps for the one is given to the other. The colon is in no site's id: the
// control session of no site has the same.
func (l *Link) listenFor(site string) {
	l.anchor = site
	l.telemetry.clientID = l.telemetryID(site)
}

func (l *Link) telemetryID(site string) string { return l.settings.ClientID + "-telemetry:" + site }

// followName goes on with the telemetry session of before a reload as long as the
// site that it is named after is still ours: a site that is added must not cost what
// the broker keeps meanwhile. Else that session is cleared, unless the site's new
// daemon has it.
func (l *Link) followName(before *Link) {
	if slices.ContainsFunc(l.sites, func(s Site) bool { return s.ID == before.anchor }) {
		l.listenFor(before.anchor)
		l.telemetry.follow(before.telemetry)
	}
}

// Anchor is the site that the session of telemetry is named after.
func (l *Link) Anchor() string { return l.anchor }

// past is a session of telemetry that is ours no more.
type past struct {
	clientID string
	status   string // topic of the status of the site that it is named after, where that is not ours
}

// Forget goes on with the session of telemetry of an earlier start, and has all others
// cleared that such may have left: a broker keeps messages for them that nobody fetches.
// Former are the sites that it was named after, the last first: the first of them that
// is still ours names it. Cleared are those named after the rest of them and after our
// other sites, and the one that had no site in its name. Status gives the topic of a
// site's status, which tells whether another daemon has taken it over.
func (l *Link) Forget(former []string, status func(site string) string) {
	ours := func(site string) bool { return slices.ContainsFunc(l.sites, func(s Site) bool { return s.ID == site }) }
	if i := slices.IndexFunc(former, ours); i >= 0 {
		l.listenFor(former[i])
	}
	for _, site := range former {
		if !ours(site) {
			l.past = append(l.past, past{l.telemetryID(site), status(site)})
		}
	}
	for i := range l.sites {
		if l.sites[i].ID != l.anchor {
			l.past = append(l.past, past{clientID: l.telemetryID(l.sites[i].ID)})
		}
	}
	if !ours("telemetry") { // whose decisions wait under that name
		l.past = append(l.past, past{clientID: l.settings.ClientID + "-telemetry"})
	}
}

// clearPast clears the sessions that are ours no more, once telemetry comes under
// the new name. A clean session is discarded with its connection (MQTT 3.1.1,
// 3.1.2.4). One whose site another daemon under our client id has taken over is that
// daemon's: it would be thrown out, and what waits for it lost.
func (l *Link) clearPast(ctx context.Context) {
	if len(l.past) == 0 || !l.awaitTelemetry(ctx) {
		return
	}
	taken, err := l.takenOver(ctx)
	if err != nil {
		if ctx.Err() == nil {
			l.log.Warn("former sessions were not cleared: who serves their sites now could not be seen, and the broker may keep messages for them that nobody fetches; allow this client to read their status", "error", err)
		}
		return
	}
	for _, p := range l.past {
		if taken[p.status] {
			continue
		}
		if err := l.clear(ctx, p.clientID); err != nil {
			if ctx.Err() == nil {
				l.log.Warn("a former session was not cleared: the broker may keep messages for it that nobody fetches", "client_id", p.clientID, "error", err)
			}
			return // at the next start, then
		}
	}
	l.past = nil
	if l.handlers.Cleared != nil {
		l.handlers.Cleared()
	}
}

// takenOver are the status topics of former sites on which another daemon under our
// client id has said a word.
func (l *Link) takenOver(ctx context.Context) (map[string]bool, error) {
	var topics []string
	for _, p := range l.past {
		if p.status != "" {
			topics = append(topics, p.status)
		}
	}
	if len(topics) == 0 {
		return nil, nil
	}
	seen := &lookOut{claim: l.handlers.Claim}
	client, err := l.visit(ctx, topics, seen, make(chan error, 1))
	if err != nil {
		return nil, err
	}
	defer client.Disconnect(100)
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-time.After(settle):
	}
	taken := map[string]bool{}
	for _, topic := range topics {
		claim := seen.claimOn(topic)
		taken[topic] = claim.Namesake && !claim.Own && !claim.Former
	}
	return taken, nil
}

func (l *Link) clear(ctx context.Context, id string) error {
	gone := &session{settings: l.settings, name: "former", clientID: id, log: l.log, handle: func(mqtt.Message) {}}
	options, err := gone.options(make(chan error, 1))
	if err != nil {
		return err
	}
	client := mqtt.NewClient(options.SetCleanSession(true))
	defer client.Disconnect(100)
	if err := wait(ctx, client.Connect(), connectTimeout+writeTimeout); err != nil {
		return fmt.Errorf("connect: %w", err)
	}
	return nil
}
