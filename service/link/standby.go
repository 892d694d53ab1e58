package link

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"sync"
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
	seen := new(lookOut)
	watch := &session{
		settings: l.settings, name: "look-out", clientID: l.settings.ClientID + "-look-out-" + strings.ToLower(rand.Text()[:8]), // of two that wait, neither kicks out the other
		log: l.log, connected: func(bool) {},
		handle: func(m mqtt.Message) {
			seen.note(m.Topic(), m.Payload())
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
	return l.awaitFree(ctx, seen, lost, isOnline, standby)
}

// lookOut keeps the newest status of each site. A queue would fill up with the
// retained ones of many sites, and what it had no room for nobody would see.
type lookOut struct {
	mu     sync.Mutex
	newest map[string][]byte // by topic
}

func (o *lookOut) note(topic string, payload []byte) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.newest == nil {
		o.newest = map[string][]byte{}
	}
	o.newest[topic] = append([]byte(nil), payload...)
}

// taken are the sites that another daemon serves, in the order of the sites.
func (o *lookOut) taken(sites []Site, isOnline func([]byte) bool) []Other {
	o.mu.Lock()
	defer o.mu.Unlock()
	var taken []Other
	for i := range sites {
		if payload := o.newest[sites[i].Status]; len(payload) > 0 && isOnline(payload) {
			taken = append(taken, Other{sites[i].Status, payload})
		}
	}
	return taken
}

func (l *Link) awaitFree(ctx context.Context, seen *lookOut, lost <-chan error, isOnline func([]byte) bool, standby bool) error {
	const settle = time.Second // retained messages come right after the subscription
	deadline := time.Now().Add(patience)
	tick := time.NewTicker(settle)
	defer tick.Stop()
	waiting := false
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-lost:
			return fmt.Errorf("broker %s: %w", l.settings.redacted(), err)
		case <-tick.C:
		}
		taken := seen.taken(l.sites, isOnline)
		if len(taken) == 0 {
			return nil
		}
		if !waiting {
			waiting = true
			l.log.Warn("another daemon says it is online for a site; waiting for its end", "sites", len(taken), "standby", standby)
		}
		if !standby && time.Now().After(deadline) {
			return &OtherError{taken[0]}
		}
	}
}
