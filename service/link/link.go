// Package link is the way to the broker and back: one session that reads
// telemetry and one for each site that carries its outputs, its decisions and
// its last will. They are apart because a flood of telemetry makes a broker
// drop what waits in the same session, decisions included.
package link

import (
	"context"
	"fmt"
	"log/slog"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Settings say how to reach the broker.
type Settings struct {
	Broker                    string // tcp://, ssl://, ws:// or wss://
	ClientID                  string // each session adds its own ending
	Username                  string
	PasswordFile              string
	CAFile, CertFile, KeyFile string
}

func (s Settings) redacted() string {
	uri, err := url.Parse(s.Broker)
	if err != nil {
		return "malformed address"
	}
	return uri.Redacted()
}

// Validate reports an address that cannot be a broker's, and files that cannot be
// used. They are read anew at each connect, for they may be renewed.
func (s Settings) Validate() error {
	uri, err := url.Parse(s.Broker)
	if err != nil || uri.Host == "" {
		shown := s.Broker
		if i := strings.LastIndexByte(shown, '@'); i >= 0 { // what stands before it may be a password
			shown = "..." + shown[i:]
		}
		return fmt.Errorf("broker %q: not an address; expected like tcp://broker:1883, with its scheme; set RHIZOSTAT_BROKER", shown)
	}
	if uri.User != nil { // it would be shown in logs and in the list of processes
		uri.User = nil
		return fmt.Errorf("broker %s: a user name or password stands in the address; expected them apart; set RHIZOSTAT_USERNAME and RHIZOSTAT_PASSWORD_FILE", uri)
	}
	switch uri.Scheme {
	case "tcp", "mqtt", "ssl", "tls", "mqtts", "ws", "wss":
		return s.checkFiles()
	}
	return fmt.Errorf("broker %s: scheme %q is unknown; expected tcp, ssl, ws or wss", uri.Redacted(), uri.Scheme)
}

// Site is what the link must know of a site.
type Site struct {
	ID       string
	Control  []string // filters of decisions and events
	ReadBack []string // filters of our own retained outputs
	Status   string   // topic
	Online   []byte   // payload while connected
	Offline  []byte   // the last will
	Ended    []byte   // said at the end
}

// Handlers take what comes in. None may block: the client library stalls its
// pings and its reconnecting while a handler runs.
type Handlers struct {
	// Telemetry gets a reading; retained, if the broker had it from before.
	Telemetry func(topic string, payload []byte, retained bool)
	// Crowded reports whether telemetry should be left with the broker for a while;
	// nil: never.
	Crowded func() bool
	// Control gets a decision or an event; ack tells the broker that it is
	// safe, once it has all that was published before, and is called once.
	Control func(site int, topic string, payload []byte, ack func())
	// Ignored is told of a decision or an event that the broker had kept.
	Ignored func(topic string)
	// ReadBack gets a retained output as the broker has it.
	ReadBack func(site int, topic string, payload []byte)
	// Resync asks for everything of a site that must stand on the broker.
	Resync func(site int)
	// Changed is called when a session has come up or gone down.
	Changed func()
	// Listening, when given, is called on each connection once telemetry is
	// subscribed to.
	Listening func()
	// Cleared, when given, is called once the sessions that Forget has cleared are gone.
	Cleared func()
	// Claim judges a site's status.
	Claim func(payload []byte) Claim
}

// Link is the connection of one daemon.
type Link struct {
	settings  Settings
	sites     []Site
	handlers  Handlers
	log       *slog.Logger
	telemetry *session
	control   []*session
	outboxes  []*outbox
	up        []atomic.Bool // telemetry first, then the sites'
	echoed    []atomic.Bool // the site's status came back: reading and writing both work
	guard     guard

	deaf      context.Context // ends when no more telemetry is wanted
	deafen    context.CancelFunc
	listening sync.Mutex // held while the session of telemetry runs
	anchor    string     // the site that the session of telemetry is named after
	past      []past     // sessions of telemetry that are ours no more
}

// New makes a link; Run connects it.
func New(settings Settings, telemetry []string, sites []Site, h Handlers, log *slog.Logger) *Link {
	l := &Link{
		settings: settings, sites: sites, handlers: h, log: log,
		up: make([]atomic.Bool, len(sites)+1), echoed: make([]atomic.Bool, len(sites)),
	}
	l.deaf, l.deafen = context.WithCancel(context.Background())
	l.telemetry = &session{
		settings: settings, name: "telemetry", hold: h.Crowded,
		filters: telemetry, log: log, connected: l.attend(l.changed(0)),
		handle: func(m mqtt.Message) {
			h.Telemetry(m.Topic(), m.Payload(), m.Retained())
			m.Ack() // garbage too: an unacknowledged message blocks the broker's window
		},
	}
	if len(sites) > 0 {
		l.listenFor(sites[0].ID)
	}
	for i := range sites {
		l.outboxes = append(l.outboxes, newOutbox())
		l.control = append(l.control, l.controlSession(i))
	}
	return l
}

// changed notes whether a session is up.
func (l *Link) changed(session int) func(bool) {
	return func(up bool) {
		l.up[session].Store(up)
		l.handlers.Changed()
	}
}

// attend lets whoever wants to know hear of a telemetry session that is up.
func (l *Link) attend(changed func(bool)) func(bool) {
	return func(up bool) {
		changed(up)
		if up && l.handlers.Listening != nil {
			l.handlers.Listening()
		}
	}
}

func (l *Link) controlSession(i int) *session {
	site := &l.sites[i]
	s := &session{
		settings: l.settings, name: "control of " + site.ID, clientID: l.settings.ClientID + "-" + site.ID,
		filters: append([]string{site.Status}, site.Control...), log: l.log, connected: l.changed(i + 1),
		acks: newAcks(), will: &will{site.Status, site.Offline, site.Ended},
	}
	var lastReadBack atomic.Int64 // unix ms
	s.handle = func(m mqtt.Message) {
		switch {
		case m.Topic() == site.Status:
			l.status(i, m.Payload(), m.Retained())
			m.Ack()
		case matchesAny(site.Control, m.Topic()):
			if m.Retained() {
				// a decision that a broker kept is nobody's word of now
				l.handlers.Ignored(m.Topic())
				m.Ack()
				return
			}
			l.handlers.Control(i, m.Topic(), m.Payload(), func() { l.outboxes[i].after(func() { s.acks.put(m.Ack) }) })
		default:
			if m.Retained() {
				lastReadBack.Store(time.Now().UnixMilli())
				l.handlers.ReadBack(i, m.Topic(), m.Payload())
			}
			m.Ack()
		}
	}
	s.up = func(ctx context.Context, client mqtt.Client) {
		l.echoed[i].Store(false)
		l.handlers.Resync(i)
		var beside sync.WaitGroup
		beside.Go(func() {
			if l.awaitTelemetry(ctx) {
				l.stayOnline(ctx, i)
			}
		})
		// not only once telemetry is there: what must not stand is put right at once
		beside.Go(func() { l.readBack(ctx, s, client, i, &lastReadBack) })
		l.outboxes[i].serve(ctx, client)
		beside.Wait()
	}
	return s
}

// awaitTelemetry waits until telemetry is subscribed to: whoever sees online may
// begin to publish, and nothing of it must be lost.
func (l *Link) awaitTelemetry(ctx context.Context) bool {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for !l.up[0].Load() {
		select {
		case <-ctx.Done():
			return false
		case <-tick.C:
		}
	}
	return true
}

// readBack lets the broker show our own retained outputs once a connection: a
// broker that was killed comes back with what it had saved, maybe a setpoint
// that has been cleared since.
func (l *Link) readBack(ctx context.Context, s *session, client mqtt.Client, i int, last *atomic.Int64) {
	const quiet, limit = time.Second, 2 * time.Minute
	last.Store(time.Now().UnixMilli())
	if err := s.subscribe(ctx, client, l.sites[i].ReadBack); err != nil {
		l.log.Warn("retained outputs could not be read back", "site", l.sites[i].ID, "error", err)
		return
	}
	began := time.Now()
	tick := time.NewTicker(quiet / 4)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case now := <-tick.C:
			idle := now.Sub(time.UnixMilli(last.Load()))
			if idle < quiet && now.Sub(began) < limit {
				continue
			}
		}
		break
	}
	if err := wait(ctx, client.Unsubscribe(l.sites[i].ReadBack...), connectTimeout); err != nil && ctx.Err() == nil {
		l.log.Warn("read-back could not be ended", "site", l.sites[i].ID, "error", err)
	}
	if l.up[0].Load() && !l.echoed[i].Load() {
		l.log.Warn("our own status did not come back: the broker may drop what we publish; allow this client to read and write its topics", "site", l.sites[i].ID)
	}
}

// status watches the site's status topic: an old session's will may say
// offline while we are online, and another daemon may be there.
func (l *Link) status(i int, payload []byte, retained bool) {
	site := &l.sites[i]
	switch string(payload) {
	case string(site.Online):
		l.echoed[i].Store(true)
		l.guard.forget(site.Status)
	case string(site.Offline), "":
		if l.up[i+1].Load() {
			l.outboxes[i].put(message{topic: site.Status, payload: site.Online, qos: 1, retain: true})
		}
	default:
		l.stranger(i, payload, retained)
	}
}

// Stay lets a site stay online at the end of Run: the same daemon is back at once.
func (l *Link) Stay(site int) { l.control[site].stays.Store(true) }

// Publish queues an output of a site and never blocks.
func (l *Link) Publish(site int, topic string, payload []byte, qos byte, retain bool) {
	l.outboxes[site].put(message{topic: topic, payload: payload, qos: qos, retain: retain})
}

// Command queues a message of a site that is not retained and of which only the latest
// of its name counts: what waits for a connection is not sent after it is outdated. It
// goes at QoS 0, as commands of Sparkplug B do, and never blocks. Gone, which may be nil,
// is called once it has been sent, in whatever goroutine that is.
func (l *Link) Command(site int, topic, latest string, payload []byte, gone func()) {
	l.outboxes[site].put(message{topic: topic, payload: payload, latest: latest, gone: gone})
}

// Connected reports whether every session is connected.
func (l *Link) Connected() bool {
	for i := range l.up {
		if !l.up[i].Load() {
			return false
		}
	}
	return true
}

// Backlog is the number of outputs that wait to be published.
func (l *Link) Backlog() int {
	n := 0
	for _, o := range l.outboxes {
		n += o.length()
	}
	return n
}

// Run keeps every session connected until ctx ends, then says offline on each
// whose site does not Stay, and disconnects.
func (l *Link) Run(ctx context.Context) {
	var running sync.WaitGroup
	running.Go(func() { l.listen(ctx) })
	for _, s := range l.control {
		running.Go(func() { s.run(ctx) })
	}
	running.Wait()
}

// listen keeps the session of telemetry until ctx or its own end.
func (l *Link) listen(ctx context.Context) {
	l.listening.Lock()
	defer l.listening.Unlock()
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	defer context.AfterFunc(l.deaf, stop)()
	var beside sync.WaitGroup
	defer beside.Wait()
	beside.Go(func() { l.clearPast(ctx) })
	l.telemetry.run(ctx)
}

// EndTelemetry ends the session of telemetry for good and returns once no more of it
// comes. What was handed on until then can be worked off, and the broker keeps what
// comes later.
func (l *Link) EndTelemetry() {
	l.deafen()
	l.listening.Lock()
	defer l.listening.Unlock()
}

// Drain waits, at most until ctx ends, for all that must arrive: outputs at QoS 1,
// commands and acknowledgements. Where a site is not connected it does not wait.
func (l *Link) Drain(ctx context.Context) {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for i, s := range l.control {
		for l.up[i+1].Load() && (!l.outboxes[i].delivered() || !s.acks.idle()) {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
		}
	}
}

// matchesAny reports whether a topic matches one of the filters, which have no
// wildcard but whole-level plus signs.
func matchesAny(filters []string, topic string) bool {
	for _, f := range filters {
		if matches(f, topic) {
			return true
		}
	}
	return false
}

func matches(filter, topic string) bool {
	f, t := 0, 0
	for f < len(filter) && t <= len(topic) {
		if filter[f] == '#' {
			return true
		}
		if filter[f] == '+' {
			for t < len(topic) && topic[t] != '/' {
				t++
			}
			f++
			continue
		}
		if t == len(topic) || filter[f] != topic[t] {
			return false
		}
		f, t = f+1, t+1
	}
	return f == len(filter) && t == len(topic)
}
