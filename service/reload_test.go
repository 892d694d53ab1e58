package service

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// statuses notes all that is said on a site's status topic.
type statuses struct {
	mu  sync.Mutex
	all []wire.Status
}

func followStatus(t *testing.T, b *broker, topic string) *statuses {
	t.Helper()
	s := new(statuses)
	err := b.Subscribe(topic, func(_ string, payload []byte) {
		status, err := wire.ParseStatus(payload)
		if err != nil {
			t.Error(err)
			return
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		s.all = append(s.all, status)
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (s *statuses) said() []wire.Status {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.all)
}

// online is the instance that was last said to be online, "" after an offline.
func (s *statuses) online() string {
	all := s.said()
	if len(all) == 0 || all[len(all)-1].Status != wire.Online {
		return ""
	}
	return all[len(all)-1].Instance
}

// environment is what a child needs to serve a site on a broker with a ledger of
// its own.
func environment(t *testing.T, broker, site string, more ...string) []string {
	t.Helper()
	return append([]string{
		"RHIZOSTAT_BROKER=tcp://" + broker, "RHIZOSTAT_SITES=" + site, "RHIZOSTAT_LEDGER=" + filepath.Join(t.TempDir(), "rhizostat.db"),
		"RHIZOSTAT_HTTP=127.0.0.1:0", "RHIZOSTAT_CLOCK=telemetry",
	}, more...)
}

func (c *child) hangUp(t *testing.T) {
	t.Helper()
	if err := c.command.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
}

func rewrite(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// SIGHUP: a broken file changes nothing and says so, one that names a site twice
// too; a good one is taken, what stood for a zone that has left is cleared, and
// what was approved for the others stands. The site stays online throughout.
func TestReload(t *testing.T) {
	t.Parallel()
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	w, status := watch(t, b, "rhizostat/north/#"), followStatus(t, b, topics.Status())
	whole := siteOf("north", 2)
	path := writeSite(t, whole)
	c := startChild(t, environment(t, b.Address, path)...)
	defer c.end(t, syscall.SIGTERM)
	advise(t, b, w, topics, 2)
	for i := range 2 {
		decide(t, b, topics, w.advice(t, topics, bench(i)), wire.Approve, "head grower")
	}
	eventually(t, 10*time.Second, text("two zones are approved and not both have setpoints"), func() bool {
		return len(w.get(topics.Setpoint(bench(0)))) > 0 && len(w.get(topics.Setpoint(bench(1)))) > 0
	})
	approved := string(w.get(topics.Setpoint(bench(0))))

	for i, broken := range []string{strings.Replace(whole, "pot-7l\n", "pot-8l\n", 1), strings.Replace(whole, "bench-1:", "bench-0:", 1)} {
		rewrite(t, path, broken)
		c.hangUp(t)
		eventually(t, 10*time.Second, text("a broken file was not refused\n"+broken), func() bool {
			return strings.Count(c.log.String(), "site files not reloaded; the old ones stay in use") == i+1
		})
	}
	before := w.count(topics.State(bench(1)))
	tell(t, b, "north", 2, 45*time.Minute, 60*time.Minute)
	eventually(t, 10*time.Second, text("after a broken file a zone says nothing more"), func() bool { return w.count(topics.State(bench(1))) > before })

	changed := strings.Replace(siteOf("north", 1), "    limits:", "    band: {full_point: 0.573, refill_point: 0.467}\n    limits:", 1)
	rewrite(t, path, changed)
	c.hangUp(t)
	eventually(t, 15*time.Second, func() string { return "a zone has left and something of it stands\n" + c.log.String() }, func() bool {
		return len(w.get(topics.Advice(bench(1)))) == 0 && len(w.get(topics.Setpoint(bench(1)))) == 0 &&
			len(w.get(topics.SetpointNumber(bench(1), "shot_volume_ml"))) == 0 && len(w.get(topics.State(bench(1)))) == 0
	})
	eventually(t, 15*time.Second, text("the changed band was not taken"), func() bool {
		tell(t, b, "north", 1, 65*time.Minute, 75*time.Minute)
		state, err := wire.ParseState(w.get(topics.State(bench(0))))
		return err == nil && fmt.Sprintf("%.3f %.3f", state.Band.FullPoint, state.Band.RefillPoint) == "0.573 0.467"
	})
	if now := string(w.get(topics.Setpoint(bench(0)))); now != approved {
		t.Errorf("what was approved before the reload was %s and is %s", approved, now)
	}
	for _, s := range status.said() {
		if s.Status != wire.Online {
			t.Errorf("the site was said to be %s: a reload is no end", s.Status)
		}
	}
}

// What is decided while a reload runs is answered as what became of it: the link
// ends after the zones have said their last word, and what comes to it after that the
// broker gives again. The embedded one does not: it takes the numbers of what we publish
// for those of what it has sent us, and forgets that.
func TestDecisionsWhileReloading(t *testing.T) {
	t.Parallel()
	const zones = 12
	b := realBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	w := watch(t, b, "rhizostat/north/#")
	c := startChild(t, environment(t, b.Address, writeSite(t, siteOf("north", zones)))...)
	defer c.end(t, syscall.SIGTERM)
	advise(t, b, w, topics, zones)
	for round, verdict := range []wire.Verdict{wire.Approve, wire.Withdraw} {
		answers := map[string]int{}
		for i := range zones {
			topic := topics.DecisionResult(bench(i))
			answers[topic] = w.count(topic)
			decide(t, b, topics, w.advice(t, topics, bench(i)), verdict, fmt.Sprintf("person of round %d", round))
			if i == zones/2 {
				c.hangUp(t)
			}
		}
		eventually(t, 15*time.Second, func() string { return "not every decision was answered\n" + c.log.String() }, func() bool {
			for topic, before := range answers {
				if w.count(topic) == before {
					return false
				}
			}
			return strings.Count(c.log.String(), "site files reloaded") == round+1
		})
	}
	for _, m := range w.history() {
		if !strings.HasSuffix(m.Topic, "/decision/result") {
			continue
		}
		if r, err := wire.ParseResult(m.Payload); err != nil || r.Result != wire.Accepted {
			t.Errorf("%s: %+v %+v (%v), want accepted", m.Topic, r, r.Reason, err)
		}
	}
}

// A second daemon refuses with a sentence; a standby waits, does not step in for a
// reload, and takes over when the first one ends.
func TestStandby(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("it takes a refusal half a minute to be sure")
	}
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	status := followStatus(t, b, topics.Status())
	path := writeSite(t, siteOf("north", 1))
	first := startChild(t, environment(t, b.Address, path)...)
	var instance string
	eventually(t, 10*time.Second, text("the first daemon is not online"), func() bool { instance = status.online(); return instance != "" })

	second := startChild(t, environment(t, b.Address, path)...)
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	standby := startChild(t, environment(t, b.Address, path, "RHIZOSTAT_STANDBY=true", "RHIZOSTAT_HTTP="+address)...)
	defer standby.end(t, syscall.SIGTERM)
	ended := make(chan error, 1)
	go func() { ended <- second.command.Wait() }()
	eventually(t, 10*time.Second, text("the standby has not seen the first one"), func() bool {
		return strings.Contains(standby.log.String(), "another daemon says it is online")
	})
	wantExposed(t, address, "rhizostat_standby 1")
	first.hangUp(t)
	select {
	case <-ended:
	case <-time.After(patience * 30 * time.Second):
		second.kill(t)
		t.Fatal("a second daemon runs beside the first")
	}
	if code := second.command.ProcessState.ExitCode(); code != 1 {
		t.Errorf("the second daemon ended with status %d, want 1", code)
	}
	said := strings.TrimSpace(second.log.String())
	if last := said[strings.LastIndex(said, "\n")+1:]; !strings.Contains(last, "another daemon is online there") || !strings.Contains(last, "RHIZOSTAT_STANDBY=true") {
		t.Errorf("it said %q", last)
	}
	if now := status.online(); now != instance {
		t.Fatalf("after a reload of %s the site is served by %q", instance, now)
	}
	eventually(t, 10*time.Second, func() string { return "the first daemon did not reload\n" + first.log.String() }, func() bool {
		return strings.Count(first.log.String(), "site files reloaded") == 1
	})
	first.end(t, syscall.SIGTERM)
	eventually(t, 15*time.Second, func() string { return "the standby has not taken over\n" + standby.log.String() }, func() bool {
		now := status.online()
		return now != "" && now != instance
	})
	wantExposed(t, address, "rhizostat_standby 0")
}

// A daemon that is ended in the middle of its start ends in order, whenever that is: a
// service manager would take anything else for a failure, and start it again.
func TestTheEndInTheMiddleOfTheStart(t *testing.T) {
	t.Parallel()
	settings := Settings{
		Broker: fmt.Sprintf("tcp://127.0.0.1:%d", freePort(t)), ClientID: "test", TopicRoot: "rhizostat", Sites: writeSite(t, siteOf("north", 200)),
		Ledger: filepath.Join(t.TempDir(), "l.db"), HTTP: "127.0.0.1:0", Clock: "wall", StateEvery: time.Minute,
	}
	var log locked
	for after := time.Duration(0); after < 40*time.Millisecond; after += slower * time.Millisecond {
		ctx, stop := context.WithCancel(t.Context())
		time.AfterFunc(after, stop)
		if err := Run(ctx, settings, "test", slog.New(slog.NewTextHandler(&log, nil))); err != nil {
			t.Errorf("ended %s after its start: %v", after, err)
		}
		stop()
	}
	if !strings.Contains(log.String(), "ended before it served") {
		t.Error("it was never ended in the middle of its start: nothing was tried")
	}
}

// Whether the broker is there, and however it is away, the daemon ends in order and in time.
func TestTheEndInTime(t *testing.T) {
	t.Parallel()
	nobody := func(t *testing.T) string { return fmt.Sprintf("127.0.0.1:%d", freePort(t)) }
	mute := func(t *testing.T) string { // takes the connection and never says a word
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close() })
		return l.Addr().String()
	}
	for name, address := range map[string]func(*testing.T) string{"nobody listens": nobody, "nobody answers": mute} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			endsInTime(t, func() *child {
				environ := environment(t, address(t), writeSite(t, siteOf("north", 3)))
				c := startChild(t, environ...)
				file := strings.TrimPrefix(environ[2], "RHIZOSTAT_LEDGER=")
				eventually(t, 10*time.Second, text("the daemon has not begun"), func() bool { _, err := os.Stat(file); return err == nil })
				time.Sleep(time.Second)
				return c
			})
		})
	}
	t.Run("it has gone", func(t *testing.T) {
		t.Parallel()
		endsInTime(t, func() *child {
			b := brokerAt(t, "127.0.0.1:0")
			c := serving(t, b)
			if err := b.Close(); err != nil {
				t.Fatal(err)
			}
			eventually(t, 10*time.Second, text("the daemon has not noticed"), func() bool { return strings.Contains(c.log.String(), "broker connection ended") })
			return c
		})
	})
	t.Run("it is there", func(t *testing.T) {
		t.Parallel()
		endsInTime(t, func() *child { return serving(t, newBroker(t)) })
	})
}

// serving is a daemon that is online on a broker.
func serving(t *testing.T, b *broker) *child {
	t.Helper()
	status := followStatus(t, b, "rhizostat/north/status")
	c := startChild(t, environment(t, b.Address, writeSite(t, siteOf("north", 3)))...)
	eventually(t, 10*time.Second, text("the daemon is not online"), func() bool { return status.online() != "" })
	return c
}

// wantExposed wants a line among what a daemon shows Prometheus.
func wantExposed(t *testing.T, address, line string) {
	t.Helper()
	eventually(t, 5*time.Second, text(fmt.Sprintf("%s does not show %q", address, line)), func() bool { return exposed(t, address, line) })
}

// exposed tells whether a daemon shows Prometheus a line.
func exposed(t *testing.T, address, line string) bool {
	t.Helper()
	r, err := http.Get("http://" + address + "/metrics")
	if err != nil {
		t.Error(err)
		return false
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Error(err)
	}
	return strings.Contains(string(body), "\n"+line+"\n")
}

// What a site file mapped before a restart is not sent to the daemon any more: the
// broker has kept its session.
func TestARestartGivesUpWhatIsMappedNoMore(t *testing.T) {
	t.Parallel()
	b := newBroker(t)
	status := followStatus(t, b, "rhizostat/north/status")
	mapped := siteOf("north", 1) + "telemetry:\n  - topic: plc7/{zone}/valve\n    number: {signal: valve_open}\n"
	path := writeSite(t, mapped)
	address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	environ := environment(t, b.Address, path, "RHIZOSTAT_HTTP="+address)
	serve := func() *child {
		c := startChild(t, environ...)
		eventually(t, 15*time.Second, text("not online"), func() bool { return status.online() != "" })
		return c
	}
	c := serve()
	if err := b.Publish("plc7/bench-9/valve", []byte("1"), false); err != nil {
		t.Fatal(err)
	}
	eventually(t, 10*time.Second, text("what is mapped does not come"), func() bool {
		return exposed(t, address, `rhizostat_intake_messages_total{reason="unknown-zone",result="refused"} 1`)
	})
	c.end(t, syscall.SIGTERM)
	eventually(t, 5*time.Second, text("online still"), func() bool { return status.online() == "" })
	rewrite(t, path, siteOf("north", 1))
	c = serve()
	defer c.end(t, syscall.SIGTERM)
	for _, topic := range []string{"plc7/bench-9/valve", "rhizostat/north/bench-9/telemetry/p1"} {
		if err := b.Publish(topic, []byte("1"), false); err != nil {
			t.Fatal(err)
		}
	}
	eventually(t, 10*time.Second, text("native telemetry does not come"), func() bool {
		return exposed(t, address, `rhizostat_intake_messages_total{reason="unknown-zone",result="refused"} 1`)
	})
	if exposed(t, address, `rhizostat_intake_messages_total{reason="unknown-topic",result="refused"} 1`) {
		t.Error("what nobody maps comes still")
	}
}
