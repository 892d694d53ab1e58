package link

import (
	"context"
	"fmt"
	"maps"
	"sync"
	"time"
)

const (
	// beat is how often a daemon says again that it is online: a broker that
	// lost power together with its daemon keeps an online for ever.
	beat = keepAlive
	// patience is how long a status that says online may stand without a sign
	// of life: more than a beat, and more than the one and a half keepalives
	// after which a broker misses a daemon (MQTT 3.1.1, 3.1.2.10).
	patience = keepAlive*3/2 + 5*time.Second
	// absence is how long a standby leaves a daemon whose connection broke to
	// come back: until it has noticed, its longest pause, and a connection.
	absence = keepAlive + pingTimeout + lastBackoff + connectTimeout
	// settle is how long retained messages may take from the broker's answer until they
	// are noted.
	settle = time.Second
)

// Claim is what a site's status comes to for this daemon.
type Claim struct {
	Online bool // somebody says to serve the site
	Lost   bool // somebody's will says that the connection broke
	Own    bool // that is this very process
	Former bool // a process before it, of the same ledger
	Before bool // whoever it is precedes us where both serve

	Namesake bool // it has our client id, and so the sessions of what it serves have our names
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

// guard is what a link knows of other daemons.
type guard struct {
	mu       sync.Mutex
	past     map[string]string    // by status topic: what Precede found to have nobody behind it
	answered map[string]time.Time // by status topic: when we last contradicted another
	stop     context.CancelFunc   // ends the link, while Hold runs
	others   map[string]sighting  // by status topic: who we gave way to, maybe between two connections now
}

// isPast reports whether Precede has seen the very status already.
func (g *guard) isPast(topic string, payload []byte) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	past, ok := g.past[topic]
	return ok && past == string(payload)
}

// forget forgets what stood on a topic before us: our own status stands there.
func (g *guard) forget(topic string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.past, topic)
}

// gaveWayTo are the statuses that we gave way to, by topic.
func (g *guard) gaveWayTo() map[string]sighting {
	g.mu.Lock()
	defer g.mu.Unlock()
	return maps.Clone(g.others)
}

// mayAnswer reports whether another may be contradicted again: two that do it at
// once would never end.
func (g *guard) mayAnswer(topic string, now time.Time) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if last, ok := g.answered[topic]; ok && now.Sub(last) < time.Second {
		return false
	}
	if g.answered == nil {
		g.answered = map[string]time.Time{}
	}
	g.answered[topic] = now
	return true
}

// stranger judges a status on our site's topic that is not the one we publish.
// Of two daemons that serve, the one that comes before the other goes on; the
// other one's next connection or beat tells it so.
func (l *Link) stranger(i int, payload []byte, retained bool) {
	site := &l.sites[i]
	c := l.handlers.Claim(payload)
	// a will that a connection finds on the broker tells of a daemon that has
	// served since: under our client id each would keep kicking out the other
	other := !c.Own && (c.Online || c.Lost && retained)
	if retained && (c.Former || l.guard.isPast(site.Status, payload)) {
		other = false
	}
	if other && c.Before {
		l.yield(i, payload)
		return
	}
	if other {
		if !l.guard.mayAnswer(site.Status, time.Now()) {
			return
		}
		l.log.Warn("another daemon says it serves this site; it was started after this one and should give way", "site", site.ID, "status", string(payload))
	}
	if l.up[0].Load() && l.up[i+1].Load() { // else online is said soon anyway
		l.reaffirm(i)
	}
}

// yield ends the link for another daemon's sake.
func (l *Link) yield(i int, payload []byte) {
	l.log.Error("another daemon serves this site and was started before this one; it goes on and this one publishes no more", "site", l.sites[i].ID, "status", string(payload))
	l.Stay(i) // our offline would stand over its online
	l.guard.mu.Lock()
	defer l.guard.mu.Unlock()
	if l.guard.others == nil {
		l.guard.others = map[string]sighting{}
	}
	l.guard.others[l.sites[i].Status] = sighting{payload: append([]byte(nil), payload...), claim: l.handlers.Claim(payload)}
	if l.guard.stop != nil {
		l.guard.stop()
	}
}

// Hold keeps every session connected, as Run does, until ctx ends or another
// daemon that precedes us serves one of the sites. Precede then tells whether
// that one lives.
func (l *Link) Hold(ctx context.Context) {
	serving, stop := context.WithCancel(ctx)
	defer stop()
	l.guard.mu.Lock()
	l.guard.stop = stop
	l.guard.mu.Unlock()
	l.Run(serving)
	l.guard.mu.Lock()
	defer l.guard.mu.Unlock()
	l.guard.stop = nil
}

// Precede looks, under a name of its own, whether another daemon serves one of
// the sites already: connecting under its name would kick it out. It returns
// nil once none does; standby says to wait for the other's end instead of
// refusing.
func (l *Link) Precede(ctx context.Context, standby bool) error {
	seen := &lookOut{claim: l.handlers.Claim, patient: standby}
	seen.expect(l.guard.gaveWayTo(), time.Now())
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
	if err := l.awaitFree(ctx, seen, lost, standby); err != nil {
		return err
	}
	for _, s := range l.control {
		s.stays.Store(false) // whom it made way for has ended
	}
	l.guard.mu.Lock()
	defer l.guard.mu.Unlock()
	l.guard.past, l.guard.others = seen.payloads(), nil
	return nil
}

func (l *Link) awaitFree(ctx context.Context, seen *lookOut, lost <-chan error, standby bool) error {
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
			l.log.Warn("another daemon says it is online for a site, or was a moment ago; waiting for its end", "sites", len(taken), "standby", standby)
		}
		if !standby && alive && now.Sub(began) > patience {
			return &OtherError{taken[0]}
		}
	}
}
