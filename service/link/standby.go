package link

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// patience is how long a status that says online may belong to a daemon that
// has just died: one and a half keepalives (MQTT 3.1.1, 3.1.2.10), and a bit.
const patience = keepAlive*3/2 + 5*time.Second

// Other is a daemon that says it serves one of our sites.
type Other struct {
	Site    string
	Payload []byte
}

// OtherError says that another daemon serves a site.
type OtherError struct{ Other }

func (e *OtherError) Error() string {
	return fmt.Sprintf("%s: another daemon is online there (%s); expected one daemon a site; stop it, or start this one with RHIZOSTAT_STANDBY=true to take over when it ends", e.Site, e.Payload)
}

// Precede looks, under a name of its own, whether another daemon serves one of
// the sites already: connecting under its name would kick it out. It returns
// nil once none does. Ours tells our own status by its payload's form;
// standby says to wait for the other's end instead of refusing.
func (l *Link) Precede(ctx context.Context, isOnline func(payload []byte) bool, standby bool) error {
	status := make(chan Other, 64)
	watch := &session{
		settings: l.settings, name: "look-out", clientID: l.settings.ClientID + "-look-out-" + strings.ToLower(rand.Text()[:8]), // of two that wait, neither kicks out the other
		log: l.log, connected: func(bool) {},
		handle: func(m mqtt.Message) {
			select {
			case status <- Other{m.Topic(), append([]byte(nil), m.Payload()...)}:
			default: // a newer one will come
			}
			m.Ack()
		},
	}
	lost := make(chan error, 1)
	options, err := watch.options(lost)
	if err != nil {
		return err
	}
	options.SetCleanSession(true)
	client := mqtt.NewClient(options)
	if err := wait(ctx, client.Connect(), connectTimeout+writeTimeout); err != nil {
		client.Disconnect(0)
		return fmt.Errorf("broker %s: %w; is it running and does it know this user", l.settings.redacted(), err)
	}
	defer client.Disconnect(100)
	filters := make([]string, len(l.sites))
	for i := range l.sites {
		filters[i] = l.sites[i].Status
	}
	if err := watch.subscribe(ctx, client, filters); err != nil {
		return err
	}
	return l.awaitFree(ctx, status, lost, isOnline, standby)
}

func (l *Link) awaitFree(ctx context.Context, status <-chan Other, lost <-chan error, isOnline func([]byte) bool, standby bool) error {
	const settle = time.Second // retained messages come right after the subscription
	taken := map[string]Other{}
	deadline := time.Now().Add(patience)
	timer := time.NewTimer(settle)
	defer timer.Stop()
	waiting := false
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-lost:
			return fmt.Errorf("broker %s: %w", l.settings.redacted(), err)
		case o := <-status:
			delete(taken, o.Site)
			if isOnline(o.Payload) {
				taken[o.Site] = o
			}
			continue
		case <-timer.C:
		}
		if len(taken) == 0 {
			return nil
		}
		if !waiting {
			waiting = true
			l.log.Warn("another daemon says it is online for a site; waiting for its end", "sites", len(taken), "standby", standby)
		}
		if !standby && time.Now().After(deadline) {
			for _, o := range taken {
				return &OtherError{o}
			}
		}
		timer.Reset(settle)
	}
}
