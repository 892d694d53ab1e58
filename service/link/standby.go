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

const (
	// beat is how often a daemon says again that it is online: a broker that
	// lost power together with its daemon keeps an online for ever.
	beat = keepAlive
	// patience is how long a status that says online may stand without a sign
	// of life: more than a beat, and more than the one and a half keepalives
	// after which a broker misses a daemon (MQTT 3.1.1, 3.1.2.10).
	patience = keepAlive*3/2 + 5*time.Second
)

// Claim is what a site's status comes to for this daemon.
type Claim struct {
	Online bool // somebody says to serve the site
	Own    bool // this very process
	Former bool // a process before it, of the same ledger
}

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

// stayOnline says that the site is served, again and again while a connection
// lasts.
func (l *Link) stayOnline(ctx context.Context, i int) {
	tick := time.NewTicker(beat)
	defer tick.Stop()
	for {
		l.reaffirm(i)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// reaffirm publishes our own status again.
func (l *Link) reaffirm(i int) {
	site := &l.sites[i]
	l.outboxes[i].put(message{topic: site.Status, payload: site.Online, qos: 1, retain: true})
}

// stranger judges a status on our site's topic that is not the one we publish.
func (l *Link) stranger(i int, payload []byte, retained bool) {
	c := l.handlers.Claim(payload)
	if c.Online && !c.Own && !(c.Former && retained) {
		l.log.Error("another daemon says it serves this site; stop one of them", "site", l.sites[i].ID, "status", string(payload))
		return
	}
	l.reaffirm(i) // the will of a session of before, or what nobody can read
}

// Precede looks, under a name of its own, whether another daemon serves one of
// the sites already: connecting under its name would kick it out. It returns
// nil once none does; standby says to wait for the other's end instead of
// refusing.
func (l *Link) Precede(ctx context.Context, standby bool) error {
	seen := &lookOut{claim: l.handlers.Claim}
	lost := make(chan error, 1)
	filters := make([]string, len(l.sites))
	for i := range l.sites {
		filters[i] = l.sites[i].Status
	}
	client, err := l.visit(ctx, filters, seen, lost)
	if err != nil {
		return err
	}
	defer client.Disconnect(100)
	return l.awaitFree(ctx, seen, lost, standby)
}

// visit connects for a while beside the sessions and notes what is said on
// status topics.
func (l *Link) visit(ctx context.Context, topics []string, seen *lookOut, lost chan<- error) (mqtt.Client, error) {
	watch := &session{
		settings: l.settings, name: "look-out", clientID: l.settings.ClientID + "-look-out-" + strings.ToLower(rand.Text()[:8]), // of two that wait, neither kicks out the other
		log: l.log, connected: func(bool) {},
		handle: func(m mqtt.Message) {
			seen.note(m.Topic(), m.Payload(), m.Retained(), time.Now())
			m.Ack()
		},
	}
	options, err := watch.options(lost)
	if err != nil {
		return nil, err
	}
	options.SetCleanSession(true)
	client := mqtt.NewClient(options)
	if err := wait(ctx, client.Connect(), connectTimeout+writeTimeout); err != nil {
		client.Disconnect(0)
		return nil, fmt.Errorf("broker %s: %w; is it running and does it know this user", l.settings.redacted(), err)
	}
	if err := watch.subscribe(ctx, client, topics); err != nil {
		client.Disconnect(100)
		return nil, err
	}
	return client, nil
}

// Follow takes over from the link of before a reload which sites still say that
// they are online.
func (l *Link) Follow(before *Link) {
	for i := range l.sites {
		for k := range before.sites {
			if l.sites[i].Status == before.sites[k].Status && before.control[k].adrift.Load() {
				l.control[i].adrift.Store(true)
			}
		}
	}
}

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
			if err := wait(ctx, client.Publish(site.Status, 1, true, site.Offline), farewell); err != nil {
				return fmt.Errorf("offline was not said on %s: %w", site.Status, err)
			}
		}
	}
	return nil
}

// sighting is the newest status of a site.
type sighting struct {
	payload []byte
	claim   Claim
	alive   bool      // it was said while we looked; else the broker had kept it
	at      time.Time // when it came
}

// taken reports whether somebody else is behind it at a time.
func (s sighting) taken(now time.Time) bool {
	if !s.claim.Online || s.claim.Own || s.claim.Former && !s.alive {
		return false
	}
	return now.Sub(s.at) < patience
}

// lookOut keeps the newest status of each site. A queue would fill up with the
// retained ones of many sites, and what it had no room for nobody would see.
type lookOut struct {
	claim func(payload []byte) Claim

	mu     sync.Mutex
	newest map[string]sighting // by topic
}

func (o *lookOut) note(topic string, payload []byte, retained bool, now time.Time) {
	s := sighting{payload: append([]byte(nil), payload...), alive: !retained, at: now}
	if len(payload) > 0 { // else the topic was cleared
		s.claim = o.claim(payload)
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.newest == nil {
		o.newest = map[string]sighting{}
	}
	o.newest[topic] = s
}

// taken are the sites that another daemon serves, in the order of the sites;
// alive reports whether one of them has shown a sign of life.
func (o *lookOut) taken(sites []Site, now time.Time) (taken []Other, alive bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for i := range sites {
		s := o.newest[sites[i].Status]
		switch {
		case !s.taken(now):
		case s.alive && !alive:
			taken, alive = append([]Other{{sites[i].Status, s.payload}}, taken...), true
		default:
			taken = append(taken, Other{sites[i].Status, s.payload})
		}
	}
	return taken, alive
}

// await gives the newest status of a topic that has a retained one.
func (o *lookOut) await(ctx context.Context, topic string) (sighting, error) {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for {
		o.mu.Lock()
		s, ok := o.newest[topic]
		o.mu.Unlock()
		if ok {
			return s, nil
		}
		select {
		case <-ctx.Done():
			return s, ctx.Err()
		case <-tick.C:
		}
	}
}

func (l *Link) awaitFree(ctx context.Context, seen *lookOut, lost <-chan error, standby bool) error {
	const settle = time.Second // retained messages come right after the subscription
	began := time.Now()
	tick := time.NewTicker(settle)
	defer tick.Stop()
	waiting := false
	for {
		var now time.Time
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-lost:
			return fmt.Errorf("broker %s: %w", l.settings.redacted(), err)
		case now = <-tick.C:
		}
		taken, alive := seen.taken(l.sites, now)
		if len(taken) == 0 {
			return nil
		}
		if !waiting {
			waiting = true
			l.log.Warn("another daemon says it is online for a site; waiting for its end", "sites", len(taken), "standby", standby)
		}
		if !standby && alive && now.Sub(began) > patience {
			return &OtherError{taken[0]}
		}
	}
}
