// Package service is the shell around the engine: it builds the parts, joins
// them by plain values and functions, starts and stops them in order. It
// decides nothing about water.
package service

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"rhizostat/service/exposition"
	"rhizostat/service/ledger"
	"rhizostat/service/link"
	"rhizostat/service/shard"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

// IsUsage reports whether an error is a mistake in files or settings.
func IsUsage(err error) bool {
	var u usage
	return errors.As(err, &u)
}

// Service is a running daemon, for whoever starts it in process.
type Service struct {
	Settings Settings
	Version  string
	Log      *slog.Logger
	// Started, when given, is called once every session is up for the first time.
	Started func()

	metrics  *metrics
	ledger   *ledger.Ledger
	instance string
	identity string // of the ledger
	began    time.Time

	waits    atomic.Bool // a standby that has not begun to serve, or has given way
	warnings sparing     // of statuses, which come from outside

	left map[string][]string // by site: topics of zones that a reload has taken from it

	mu    sync.Mutex
	house *house
	link  *link.Link
	web   net.Addr
}

// HTTPPort is the port that /metrics is served on, 0 before it is: for whoever
// asked for any free one.
func (s *Service) HTTPPort() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	if a, ok := s.web.(*net.TCPAddr); ok {
		return a.Port
	}
	return 0
}

// Run runs the daemon until ctx ends.
func Run(ctx context.Context, s Settings, version string, log *slog.Logger) error {
	return (&Service{Settings: s, Version: version, Log: log}).Run(ctx)
}

// Run starts the parts in order, serves, and stops them in the opposite order.
func (s *Service) Run(ctx context.Context) (err error) {
	settings := s.linkSettings()
	if err := settings.Validate(); err != nil {
		return usage{err}
	}
	sites, err := loadSites(s.Settings.Sites, s.Log)
	if err != nil {
		return err
	}
	if s.ledger, err = ledger.Open(ctx, s.Settings.Ledger, ledger.Options{}); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.ledger.Close()) }()
	if s.identity, err = s.ledger.Identity(ctx); err != nil {
		return err
	}
	s.metrics = newMetrics(s.Version)
	s.metrics.BrokerConnected(false)
	s.metrics.LedgerWritable(true)
	s.instance = s.Settings.ClientID + "-" + strings.ToLower(rand.Text()[:8])
	s.began = time.Now().UTC().Truncate(time.Second)

	parts, stop := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer func() { stop(); running.Wait() }()
	failed := make(chan error, 1)
	server, err := exposition.Listen(s.Settings.HTTP, s.metrics.Metrics, s.checks(), s.Log)
	if err != nil {
		return usage{err}
	}
	s.mu.Lock()
	s.web = server.Addr()
	s.mu.Unlock()
	running.Add(1)
	go func() {
		defer running.Done()
		if err := server.Run(parts); err != nil {
			failed <- err
			stop()
		}
	}()
	running.Add(1)
	go func() {
		defer running.Done()
		s.sweep(parts)
	}()
	defer s.farewell()
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	for {
		next, err := s.serve(parts, sites, hangup)
		if err != nil {
			return err
		}
		select {
		case err := <-failed:
			return err
		default:
		}
		if next == nil {
			return nil
		}
		sites = next
	}
}

// serve runs one set of sites until ctx ends or a reload gives another.
func (s *Service) serve(ctx context.Context, sites []*site.Site, hangup <-chan os.Signal) ([]*site.Site, error) {
	h, err := newHouse(ctx, s.Settings, sites, s.ledger, s.metrics, runtime.GOMAXPROCS(0), s.Log)
	if err != nil {
		return nil, err
	}
	serving, stop := context.WithCancel(ctx)
	defer stop()
	l, err := s.newLink(h)
	if err != nil {
		return nil, err
	}
	runners, runnersDone := s.start(h)
	if s.link != nil {
		l.Follow(s.link)
	}
	s.mu.Lock()
	s.house, s.link = h, l
	s.mu.Unlock()

	connecting := &connecting{done: make(chan struct{})}
	go func() {
		defer close(connecting.done)
		connecting.err = s.connect(serving, l)
	}()
	s.notify(daemon.SdNotifyReady)
	next, err := s.await(serving, h, connecting, hangup)
	if next == nil {
		s.notify(daemon.SdNotifyStopping)
	} else {
		stay(h, l, next)
	}
	stop()
	<-connecting.done
	runners()
	<-runnersDone
	s.left = left(h, next)
	kept := h.close()
	if kept != nil && next != nil {
		// what was decided is on record; the zones learn the last minutes again
		s.Log.Error("zone states were not kept before the reload", "error", kept)
		kept = nil
	}
	return next, errors.Join(err, kept)
}

// farewell takes back what a reload has left online, where the daemon ends
// before the sites are connected again.
func (s *Service) farewell() {
	if s.link == nil {
		return
	}
	ctx, stop := context.WithTimeout(context.Background(), 2*time.Second)
	defer stop()
	if err := s.link.Farewell(ctx); err != nil {
		s.Log.Error("a site's status may say online though the daemon has ended; it is put right at the next start", "error", err)
	}
}

// connecting is the life of the link.
type connecting struct {
	done chan struct{}
	err  error // once done is closed
}

// await waits for the end, a reload, or the link's refusal, and tells the
// service manager that we live.
func (s *Service) await(ctx context.Context, h *house, link *connecting, hangup <-chan os.Signal) ([]*site.Site, error) {
	alive := s.watchdog()
	defer alive.Stop()
	var asking *asking // of the newest reload
	defer func() { asking.end() }()
	for {
		select {
		case <-ctx.Done():
			return nil, nil
		case <-link.done:
			if ctx.Err() != nil {
				return nil, nil
			}
			return nil, link.err
		case <-alive.C:
			s.notify(daemon.SdNotifyWatchdog)
		case <-hangup:
			asking.end()
			asking = nil
			sites, err := s.reload()
			if err != nil {
				s.Log.Error("site files not reloaded; the old ones stay in use", "error", err)
				continue
			}
			asking = s.ask(ctx, h, sites)
		case <-asking.answered():
			if asking.err == nil {
				s.Log.Info("site files reloaded", "sites", len(asking.sites))
				return asking.sites, nil
			}
			if ctx.Err() == nil {
				s.Log.Error("site files not reloaded; the old ones stay in use", "error", asking.err)
			}
			asking = nil
		}
	}
}

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

// sweep drops, about hourly, what the ledger keeps no longer. Ages are told by
// the machine's clock, so the ledger is left alone where time is the
// telemetry's.
func (s *Service) sweep(ctx context.Context) {
	if s.Settings.Clock != "wall" {
		return
	}
	hourly := time.NewTicker(time.Hour)
	defer hourly.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case now := <-hourly.C:
			if err := s.ledger.Prune(ctx, now.UTC()); err != nil && ctx.Err() == nil {
				s.Log.Warn("old rows of the ledger were not dropped; trying again in an hour", "error", err)
			}
		}
	}
}

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
		Own: own, Former: !own && status.Ledger == s.identity, Before: s.before(status),
	}
	if claim.Online && !own && !claim.Former && s.waits.Load() {
		s.metrics.Standby(true)
	}
	return claim
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

// newLink joins the house to a link.
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
	var once sync.Once
	l = link.New(s.linkSettings(), h.router.Filters(), sites, link.Handlers{
		Telemetry: func(topic string, payload []byte, retained bool) {
			decode := h.router.Decode
			if retained {
				decode = h.router.DecodeRetained
			}
			h.take(decode, topic, payload, time.Now().UTC())
		},
		Control: func(_ int, topic string, payload []byte, ack func()) {
			if !h.person(topic, payload, time.Now().UTC(), ack) {
				h.metrics.Refused("unknown-zone")
				h.warnings.warn(h.log, "unknown-zone", "message for a zone that is not ours", "topic", topic)
				ack()
			}
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
		Claim: s.claim,
	}, s.Log)
	for i, st := range h.sites {
		for _, topic := range s.left[st.Name] {
			l.Publish(i, topic, nil, 1, true)
		}
	}
	s.left = nil
	h.publish = func(site int, m wire.Message, _ time.Time) { l.Publish(site, m.Topic, m.Payload, m.QoS, m.Retain) }
	return l, nil
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

// start gives each lot its goroutine; the function it returns ends them.
func (s *Service) start(h *house) (stop func(), done <-chan struct{}) {
	every := time.Second
	if h.settings.Clock == "telemetry" {
		every = 250 * time.Millisecond // what waits to be put in order waits no longer
	}
	ctx, cancel := context.WithCancel(context.Background())
	runners := make([]*shard.Runner, len(h.lots))
	var running sync.WaitGroup
	for i, l := range h.lots {
		runners[i] = shard.NewRunner(l.shard, every, func() time.Time { return time.Now().UTC() })
	}
	h.telemetry = func(zone int, t shard.Telemetry) { runners[h.places[zone].lot].Telemetry(h.places[zone].index, t) }
	h.control = func(zone int, c shard.Control) { runners[h.places[zone].lot].Control(h.places[zone].index, c) }
	for _, r := range runners {
		running.Add(1)
		go func() {
			defer running.Done()
			r.Run(ctx)
		}()
	}
	finished := make(chan struct{})
	go func() {
		running.Wait()
		close(finished)
	}()
	return cancel, finished
}

// checks are what /healthz and /readyz ask.
func (s *Service) checks() exposition.Health {
	current := func() (*house, *link.Link) {
		s.mu.Lock()
		defer s.mu.Unlock()
		return s.house, s.link
	}
	return exposition.Health{Ready: []exposition.Check{
		{Name: "sites", Run: func() error {
			if h, _ := current(); h == nil {
				return errors.New("site files are not loaded yet")
			}
			return nil
		}},
		{Name: "broker", Run: func() error {
			_, l := current()
			if l == nil || !l.Connected() {
				return errors.New("the broker is not connected")
			}
			return nil
		}},
		{Name: "ledger", Run: func() error {
			ctx, stop := context.WithTimeout(context.Background(), 2*time.Second)
			defer stop()
			return s.ledger.Writable(ctx)
		}},
	}}
}

// notify tells the service manager, where there is one.
func (s *Service) notify(state string) {
	if _, err := daemon.SdNotify(false, state); err != nil {
		s.Log.Warn("service manager not told", "state", state, "error", err)
	}
}

// watchdog ticks as often as the service manager wants to hear of us, or
// hardly ever.
func (s *Service) watchdog() *time.Ticker {
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil || every <= 0 {
		return time.NewTicker(24 * time.Hour)
	}
	return time.NewTicker(every / 2)
}
