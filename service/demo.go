package service

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"rhizostat/policy/hydraulics"
	"rhizostat/service/demo"
	"rhizostat/service/site"
)

// DemoOptions say how the demo is played.
type DemoOptions struct {
	demo.Options
	Broker   string // address of the embedded broker
	HTTP     string // address of /metrics
	Terminal bool   // the table may draw over itself
	Out      io.Writer
	Version  string
	Log      *slog.Logger
}

// Demo plays an invented facility: an embedded broker, simulated pots and their
// controller, and the daemon, until its simulated time is over or ctx ends. The
// daemon is the very one of Run.
func Demo(ctx context.Context, o DemoOptions) (err error) {
	dir, err := os.MkdirTemp("", "rhizostat-demo-")
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	file := filepath.Join(dir, "site.yaml")
	if err := os.WriteFile(file, demo.SiteFile, 0o600); err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	bands, err := demoBands()
	if err != nil {
		return err
	}
	broker, err := demo.NewBroker(o.Broker)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, broker.Close()) }()
	facility, err := demo.NewFacility(o.Options, broker)
	if err != nil {
		return err
	}
	facility.Bands(bands)

	playing, stop := context.WithCancel(ctx)
	started := make(chan struct{})
	daemon := Service{Version: o.Version, Log: o.Log, Started: sync.OnceFunc(func() { close(started) }), Settings: Settings{
		Broker: "tcp://" + broker.Address, ClientID: "rhizostat", TopicRoot: o.Root, Sites: file,
		Ledger: filepath.Join(dir, "rhizostat.db"), HTTP: o.HTTP, Clock: "telemetry", StateEvery: time.Minute,
	}}
	ended := make(chan error, 1)
	go func() {
		ended <- daemon.Run(playing)
		stop() // without it there is nothing to play
	}()
	defer func() {
		stop()
		err = errors.Join(err, <-ended)
	}()
	select {
	case <-started:
	case e := <-ended:
		ended <- nil
		return e
	case <-ctx.Done():
		return nil
	}
	if err := introduce(o, broker.Address, daemon.HTTPPort()); err != nil {
		return err
	}
	if err := play(playing, o, facility); err != nil {
		return err
	}
	if o.For == 0 || playing.Err() != nil {
		return nil
	}
	return summarize(o, facility, bands)
}

// play runs the facility and draws the table as its time goes by.
func play(ctx context.Context, o DemoOptions, f *demo.Facility) error {
	table := demo.Table{Out: o.Out, Terminal: o.Terminal}
	every, realtime := 6*time.Hour, time.Time{}
	var failed error
	err := f.Run(ctx, func(now time.Time) {
		switch {
		case failed != nil:
		case o.Terminal && time.Since(realtime) < 200*time.Millisecond:
		case !o.Terminal && now.Sub(now.Truncate(every)) != 0:
		default:
			realtime = time.Now()
			failed = table.Draw(now, f.Rows())
		}
	})
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	return errors.Join(err, failed)
}

func introduce(o DemoOptions, broker string, web int) error {
	root := o.Root
	_, err := fmt.Fprintf(o.Out, `An invented facility of four zones, its weather and its controller are simulated; nothing here is a real crop.
What Rhizostat publishes is advice: the controller obeys only what a person has approved, else its own timer.

  topics    mosquitto_sub -p %s -t '%s/#' -v
  metrics   http://%s/metrics
  advice    TZ=%s rhizostat advice --broker tcp://%s --root %s
  approve   rhizostat decide approve --broker tcp://%s --root %s --all-pending --by you

`, port(broker), root, webAddress(o.HTTP, web), demo.TimeZone, broker, root, broker, root)
	return err
}

func port(address string) string {
	for i := len(address) - 1; i >= 0; i-- {
		if address[i] == ':' {
			return address[i+1:]
		}
	}
	return address
}

// webAddress is where a browser finds what listens on an address, with the port
// that it came to.
func webAddress(listen string, port int) string {
	host, _, err := net.SplitHostPort(listen)
	if err != nil || host == "" {
		host = "localhost"
	}
	return net.JoinHostPort(host, strconv.Itoa(port))
}

func summarize(o DemoOptions, f *demo.Facility, bands func(string) hydraulics.Band) error {
	timer, err := demo.TimerAlone(o.Options, bands)
	if err != nil {
		return err
	}
	ours := f.Outcomes()
	if err := demo.Summary(o.Out, o.Options, ours, timer); err != nil {
		return err
	}
	if n := f.Violations(); n > 0 {
		return fmt.Errorf("demo: %d setpoints were published that nobody had approved", n)
	}
	_, err = fmt.Fprintln(o.Out, "\nEvery setpoint that was published had been approved.")
	return err
}

// demoBands gives the bands of the demo's site file.
func demoBands() (func(zone string) hydraulics.Band, error) {
	st, found := site.Parse("site.yaml", demo.SiteFile)
	if err := found.Err(); err != nil {
		return nil, fmt.Errorf("demo: %w", err)
	}
	bands := map[string]hydraulics.Band{}
	for i := range st.Zones {
		s := &st.Zones[i].Settings
		profile, err := hydraulics.NewProfile(s.Substrate, s.Container)
		if err != nil {
			return nil, fmt.Errorf("demo: zone %s: %w", s.Zone, err)
		}
		if bands[s.Zone], err = hydraulics.NewBand(profile, s.Band); err != nil {
			return nil, fmt.Errorf("demo: zone %s: %w", s.Zone, err)
		}
	}
	return func(zone string) hydraulics.Band { return bands[zone] }, nil
}
