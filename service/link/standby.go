package link

import (
	"context"
	"crypto/rand"
	"fmt"
	"maps"
	"slices"
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
	// absence is how long a standby leaves a daemon whose connection broke to
	// come back: until it has noticed, its longest pause, and a connection.
	absence = keepAlive + pingTimeout + lastBackoff + connectTimeout
)

// Claim is what a site's status comes to for this daemon.
type Claim struct {
	Online bool // somebody says to serve the site
	Lost   bool // somebody's will says that the connection broke
	Own    bool // that is this very process
	Former bool // a process before it, of the same ledger
	Before bool // whoever it is precedes us where both serve
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

// sighting is the newest status of a site.
type sighting struct {
	payload []byte
	claim   Claim
	alive   bool      // it was said while we looked; else the broker had kept it
	at      time.Time // when it came
}

// taken reports whether somebody else is behind it at a time; patient says to
// leave time to come back to one whose connection broke.
func (s sighting) taken(now time.Time, patient bool) bool {
	limit := patience
	if patient {
		limit = absence
	}
	switch {
	case s.claim.Own, now.Sub(s.at) >= limit:
		return false
	case s.claim.Online:
		return s.alive || !s.claim.Former
	}
	// who starts a second daemon by hand knows that the first has gone
	return patient && s.claim.Lost && !s.claim.Former
}

// lookOut keeps the newest status of each site. A queue would fill up with the
// retained ones of many sites, and what it had no room for nobody would see.
type lookOut struct {
	claim   func(payload []byte) Claim
	patient bool // with one whose connection broke

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
	if _, ok := o.newest[topic]; ok && s.claim.Own {
		return // our own last word, or will, has come over another's; that one may be there all the same
	}
	o.newest[topic] = s
}

// expect has the look-out wait for those that we gave way to.
func (o *lookOut) expect(others map[string]sighting, now time.Time) {
	if len(others) == 0 {
		return
	}
	o.newest, o.patient = others, true
	for topic, s := range others {
		s.at = now
		o.newest[topic] = s
	}
}

// taken are the sites that another daemon serves, in the order of the sites;
// alive reports whether one of them has shown a sign of life.
func (o *lookOut) taken(sites []Site, now time.Time) (taken []Other, alive bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for i := range sites {
		s := o.newest[sites[i].Status]
		switch {
		case !s.taken(now, o.patient):
		case s.alive && s.claim.Online && !alive:
			taken, alive = append([]Other{{sites[i].Status, s.payload}}, taken...), true
		default:
			taken = append(taken, Other{sites[i].Status, s.payload})
		}
	}
	return taken, alive
}

// payloads are the newest statuses by topic.
func (o *lookOut) payloads() map[string]string {
	o.mu.Lock()
	defer o.mu.Unlock()
	out := map[string]string{}
	for topic, s := range o.newest {
		out[topic] = string(s.payload)
	}
	return out
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
			l.log.Warn("another daemon says it is online for a site, or was a moment ago; waiting for its end", "sites", len(taken), "standby", standby)
		}
		if !standby && alive && now.Sub(began) > patience {
			return &OtherError{taken[0]}
		}
	}
}
