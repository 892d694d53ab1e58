package service

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"rhizostat/service/wire"
)

// besideZones is how many zones are told of, two probes each, once in besideEvery of their time.
const (
	besideZones = 200
	besideEvery = 30 * time.Second
)

// A bare subscriber does with telemetry what any client must: it takes it off the wire and
// acknowledges it. One that echoes publishes it again. Both are processes of their own.
func init() {
	children["bare"] = func() error { return listenBare(false) }
	children["echo"] = func() error { return listenBare(true) }
}

// The topics of the bare ones, and where the broker is.
const (
	besideTelemetry = "rhizostat/+/+/telemetry/+"
	besideEnd       = "rhizostat/beside/end"
	besideEcho      = "rhizostat/beside/echo"
	besideBroker    = "SERVICE_TEST_BROKER"
	besidePassword  = "SERVICE_TEST_PASSWORD"
)

func dialBare(broker, id, user, password string) (mqtt.Client, error) {
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + broker).SetClientID(id).SetUsername(user).SetPassword(password).SetAutoReconnect(false))
	return c, within(c.Connect())
}

func within(token mqtt.Token) error {
	if !token.WaitTimeout(time.Minute) {
		return fmt.Errorf("mosquitto does not answer")
	}
	return token.Error()
}

func listenBare(echo bool) error {
	name := os.Getenv(childEnv)
	c, err := dialBare(os.Getenv(besideBroker), name, "rhizostat", os.Getenv(besidePassword))
	if err != nil {
		return err
	}
	handle := func(mqtt.Client, mqtt.Message) {}
	if echo {
		handle = func(c mqtt.Client, m mqtt.Message) {
			c.Publish(besideEcho+strings.TrimPrefix(m.Topic(), "rhizostat"), 0, false, m.Payload())
		}
	}
	if err := within(c.Subscribe(besideTelemetry, 1, handle)); err != nil {
		return err
	}
	// what was sent before comes before
	answer := func(c mqtt.Client, m mqtt.Message) { c.Publish(besideEnd+"/"+name, 1, false, m.Payload()) }
	if err := within(c.Subscribe(besideEnd, 1, answer)); err != nil {
		return err
	}
	ended := make(chan os.Signal, 1)
	signal.Notify(ended, syscall.SIGTERM)
	<-ended
	return nil
}

// beside is a daemon and a bare subscriber on one broker, which hear the same.
type beside struct {
	b      *testing.B
	daemon *child
	bare   *child
	echo   *child
	http   string
	topics wire.Topics
	client mqtt.Client
	sent   int // readings
	step   int // of besideEvery

	mu    sync.Mutex
	ended map[string]string    // newest answer to besideEnd, by who gave it
	out   map[string]time.Time // when the readings of a zone's minute went out, by zone and minute
	state []time.Duration      // from those to the state
	echos []time.Duration      // from the same to their echo
}

func newBeside(b *testing.B) *beside {
	b.Helper()
	m := newMosquitto(b, func(acl string) string {
		return acl + "\nuser rhizostat\ntopic readwrite rhizostat/beside/#\nuser devices\ntopic readwrite rhizostat/beside/#\ntopic read rhizostat/#\n"
	})
	address := fmt.Sprintf("127.0.0.1:%d", freePort(b))
	s := &beside{b: b, http: address, topics: wire.Topics{Root: "rhizostat", Site: "north"}, ended: map[string]string{}, out: map[string]time.Time{}}
	s.daemon = startChild(b, "RHIZOSTAT_BROKER=tcp://"+m.address(), "RHIZOSTAT_USERNAME=rhizostat", "RHIZOSTAT_PASSWORD_FILE="+m.path("rhizostat"),
		"RHIZOSTAT_SITES="+writeSite(b, siteOf("north", besideZones)), "RHIZOSTAT_LEDGER="+filepath.Join(b.TempDir(), "l.db"),
		"RHIZOSTAT_HTTP="+address, "RHIZOSTAT_CLOCK=telemetry")
	bare := []string{besideBroker + "=" + m.address(), besidePassword + "=secret of rhizostat"}
	s.bare, s.echo = startAs(b, "bare", bare...), startAs(b, "echo", bare...)
	b.Cleanup(func() {
		for _, c := range []*child{s.daemon, s.bare, s.echo} {
			c.kill(b)
			if b.Failed() {
				b.Log(c.log.String())
			}
		}
	})
	var err error
	if s.client, err = dialBare(m.address(), "devices", "devices", "secret of devices"); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.client.Disconnect(100) })
	for filter, take := range map[string]mqtt.MessageHandler{besideEnd + "/+": s.answered, s.topics.State("+"): s.stated, besideEcho + "/#": s.echoed} {
		if err := within(s.client.Subscribe(filter, 1, take)); err != nil {
			b.Fatal(err)
		}
	}
	eventually(b, 20*time.Second, s.daemon.log.String, func() bool { _, err := s.accepted(); return err == nil })
	eventually(b, 20*time.Second, s.daemon.log.String, func() bool {
		response, err := http.Get("http://" + s.http + "/readyz")
		if err != nil {
			return false
		}
		response.Body.Close()
		return response.StatusCode == http.StatusOK
	})
	s.caughtUp("begin")
	return s
}

func (s *beside) answered(_ mqtt.Client, m mqtt.Message) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended[m.Topic()[len(besideEnd)+1:]] = string(m.Payload())
}

// key names a zone's minute.
func (s *beside) key(zone string, at time.Time) string { return zone + at.UTC().Format(" 15:04") }

func (s *beside) stated(_ mqtt.Client, m mqtt.Message) {
	now := time.Now()
	p, ok := wire.Parse(s.topics.Root, m.Topic())
	var state struct{ Time time.Time }
	if err := json.Unmarshal(m.Payload(), &state); err != nil || !ok {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if out, ok := s.out[s.key(p.Zone, state.Time)]; ok && state.Time.Second() == 0 {
		s.state = append(s.state, now.Sub(out))
	}
}

func (s *beside) echoed(_ mqtt.Client, m mqtt.Message) {
	now := time.Now()
	p, ok := wire.Parse("rhizostat", "rhizostat"+m.Topic()[len(besideEcho):])
	var reading struct{ Time time.Time }
	if err := json.Unmarshal(m.Payload(), &reading); err != nil || !ok || !strings.HasSuffix(m.Topic(), "/p2") {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if out, ok := s.out[s.key(p.Zone, reading.Time)]; ok && reading.Time.Second() == 0 {
		s.echos = append(s.echos, now.Sub(out))
	}
}

var acceptedLine = regexp.MustCompile(`(?m)^rhizostat_intake_messages_total\{[^}]*result="accepted"[^}]*\} ([0-9.e+]+)$`)

// accepted is how many readings the daemon has taken.
func (s *beside) accepted() (int, error) {
	response, err := http.Get("http://" + s.http + "/metrics")
	if err != nil {
		return 0, err
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		return 0, err
	}
	sum := 0.0
	for _, line := range acceptedLine.FindAllSubmatch(body, -1) {
		v, err := strconv.ParseFloat(string(line[1]), 64)
		if err != nil {
			return 0, err
		}
		sum += v
	}
	return int(sum), nil
}

// tell sends the readings of so many steps, as fast as the broker takes them or at a rate, 1/s.
func (s *beside) tell(steps int, rate float64) {
	s.b.Helper()
	began, n := time.Now(), 0
	var waiting []mqtt.Token
	for range steps {
		after := time.Duration(s.step) * besideEvery
		s.step++
		for i := range besideZones {
			for p := range 2 {
				if rate > 0 {
					time.Sleep(time.Until(began.Add(time.Duration(float64(n) / rate * float64(time.Second)))))
				}
				payload := reading(i, p, after)
				if p == 1 { // the zone's state may follow either
					s.mu.Lock()
					s.out[s.key(bench(i), morning.Add(after))] = time.Now()
					s.mu.Unlock()
				}
				waiting = append(waiting, s.client.Publish(s.topics.Telemetry(bench(i), fmt.Sprintf("p%d", p+1)), 1, false, payload))
				n++
			}
		}
		for len(waiting) > 2000 {
			if err := within(waiting[0]); err != nil {
				s.b.Fatal(err)
			}
			waiting = waiting[1:]
		}
	}
	for _, token := range waiting {
		if err := within(token); err != nil {
			s.b.Fatal(err)
		}
	}
	s.sent += n
}

// caughtUp waits until all have taken what was sent.
func (s *beside) caughtUp(word string) {
	s.b.Helper()
	if err := within(s.client.Publish(besideEnd, 1, false, word)); err != nil {
		s.b.Fatal(err)
	}
	eventually(s.b, time.Minute, func() string { return "the bare subscribers do not catch up" }, func() bool {
		s.mu.Lock()
		defer s.mu.Unlock()
		return s.ended["bare"] == word && s.ended["echo"] == word
	})
	taken := 0
	eventually(s.b, 2*time.Minute, func() string { return fmt.Sprintf("%d readings of %d were accepted", taken, s.sent) }, func() bool {
		var err error
		taken, err = s.accepted()
		return err == nil && taken >= s.sent
	})
	if taken != s.sent {
		s.b.Fatalf("%d readings of %d were accepted", taken, s.sent)
	}
}

// spent is the processor time of a process, s.
func (s *beside) spent(c *child) float64 { return spentBy(s.b, c) }

func spentBy(b *testing.B, c *child) float64 {
	b.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", c.command.Process.Pid))
	if err != nil {
		b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(stat), ") ")
	fields := strings.Fields(rest) // from the third of proc(5) on
	const ticks = 100              // a second, on all that Go runs on
	sum := 0.0
	for _, field := range fields[11:13] { // user and system
		v, err := strconv.ParseFloat(field, 64)
		if err != nil {
			b.Fatal(err)
		}
		sum += v / ticks
	}
	return sum
}

// BenchmarkBesideABareSubscriber sends telemetry over a Mosquitto to a daemon and, beside it, to a
// subscriber that does nothing with it. x-cpu is the processor time that the whole daemon
// takes over that of the subscriber; us/message that of the daemon. Then, at half the rate at
// which the daemon took that, x-p99 is the time from a reading to the state that follows
// it over that of a client that only echoes the reading, both as a third client sees them.
func BenchmarkBesideABareSubscriber(b *testing.B) {
	const steps = 200
	s := newBeside(b)
	s.tell(20, 0)
	s.caughtUp("warm")
	for i := 0; b.Loop(); i++ {
		daemon, bare, began, sent := s.spent(s.daemon), s.spent(s.bare), time.Now(), s.sent
		s.tell(steps, 0)
		s.caughtUp(fmt.Sprint("fast ", i))
		took := time.Since(began).Seconds()
		daemon, bare = s.spent(s.daemon)-daemon, s.spent(s.bare)-bare
		n := float64(s.sent - sent)
		b.ReportMetric(daemon/bare, "x-cpu")
		b.ReportMetric(1e6*daemon/n, "us/message")
		b.ReportMetric(1e6*bare/n, "us-bare/message")
		b.ReportMetric(n/took, "messages/s")

		s.mu.Lock()
		clear(s.out)
		s.state, s.echos = nil, nil
		s.mu.Unlock()
		s.tell(steps/4, n/took/2)
		s.caughtUp(fmt.Sprint("slow ", i))
		s.mu.Lock()
		state, echo := percentile(s.state, 0.99), percentile(s.echos, 0.99)
		if min(len(s.state), len(s.echos)) < besideZones {
			b.Errorf("%d states and %d echos came; expected %d of each at least", len(s.state), len(s.echos), besideZones)
		}
		s.mu.Unlock()
		b.ReportMetric(state.Seconds()/echo.Seconds(), "x-p99")
		b.ReportMetric(state.Seconds()*1e3, "ms-p99")
		b.ReportMetric(echo.Seconds()*1e3, "ms-echo-p99")
	}
}

func percentile(of []time.Duration, share float64) time.Duration {
	slices.SortFunc(of, cmp.Compare[time.Duration])
	if len(of) == 0 {
		return 0
	}
	return of[min(int(share*float64(len(of))), len(of)-1)]
}
