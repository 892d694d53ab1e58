// Package service is the shell around the engine: it builds the parts, joins
// them by plain values and functions, starts and stops them in order. It
// decides nothing about water.
package service

import (
	"context"
	"crypto/rand"
	"errors"
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

	left map[string][]wire.Message // by site: what takes back what a reload has taken from it

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

// Run starts the parts in order, serves, and stops them in the opposite order. An end
// that comes in the middle of the start, or of a reload, is an orderly one, unless
// something could not be closed.
func (s *Service) Run(ctx context.Context) error {
	err := s.run(ctx)
	if err != nil && ctx.Err() != nil && errors.Is(err, context.Canceled) {
		s.Log.Info("ended before it served", "at", err)
		err = nil
	}
	if s.ledger != nil {
		err = errors.Join(err, s.ledger.Close())
	}
	return err
}

func (s *Service) run(ctx context.Context) (err error) {
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
	if os.Getenv("GOGC") == "" {
		running.Add(1)
		go func() {
			defer running.Done()
			keepHeapSmall(parts)
		}()
	}
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
	// the link outlives ctx: what the zones still have to say goes out through it
	serving, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	l, err := s.newLink(h)
	if err != nil {
		return nil, err
	}
	runners, runnersDone := s.start(h)
	if s.link != nil {
		l.Follow(s.link)
		s.renameTelemetry(s.link, l)
	} else {
		s.nameTelemetry(l)
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
	next, err := s.await(ctx, h, connecting, hangup)
	if next == nil {
		s.notify(daemon.SdNotifyStopping)
	} else {
		stay(h, l, next)
	}
	l.EndTelemetry()
	runners()
	<-runnersDone
	s.drain(l)
	stop()
	<-connecting.done
	s.left = left(h, next)
	kept := h.close()
	if kept != nil && next != nil {
		// what was decided is on record; the zones learn the last minutes again
		s.Log.Error("zone states were not kept before the reload", "error", kept)
		kept = nil
	}
	return next, errors.Join(err, kept)
}

// drain waits a while until what the zones have decided is answered and
// acknowledged. A decision whose answer goes down with the link is sent again, and
// its sender may have gone.
func (s *Service) drain(l *link.Link) {
	ctx, stop := context.WithTimeout(context.Background(), 1500*time.Millisecond)
	defer stop()
	l.Drain(ctx)
}

// farewell takes back what a reload has left online, where the daemon ends
// before the sites are connected again.
func (s *Service) farewell() {
	if s.link == nil {
		return
	}
	ctx, stop := context.WithTimeout(context.Background(), 3*time.Second)
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
	h.crowded = func() bool { return slices.ContainsFunc(runners, (*shard.Runner).Crowded) }
	writing, written := context.WithCancel(context.Background())
	var writers sync.WaitGroup
	for i, r := range runners {
		l := h.lots[i]
		l.behind = newBehind()
		writers.Add(1)
		go func() {
			defer writers.Done()
			l.behind.run(writing, h)
		}()
		running.Add(1)
		go func() {
			defer running.Done()
			r.Run(ctx)
		}()
	}
	finished := make(chan struct{})
	go func() {
		running.Wait()
		written() // what the zones left to be written is written by then
		writers.Wait()
		for _, l := range h.lots {
			l.settleDeferred() // what another zone's part kept from the record
		}
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
