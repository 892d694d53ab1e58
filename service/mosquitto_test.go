package service

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// mosquitto is a real broker with the access list that we ship.
type mosquitto struct {
	program, folder string
	port            int
	command         *exec.Cmd
	log             *locked
}

// newMosquitto writes the configuration of a broker on a free port; edit may
// change the access list.
func newMosquitto(t testing.TB, edit func(acl string) string) *mosquitto {
	t.Helper()
	program := tool(t, "mosquitto")
	passwords := tool(t, "mosquitto_passwd")
	tool(t, "mosquitto_pub")
	tool(t, "mosquitto_sub")
	m := &mosquitto{program: program, folder: t.TempDir(), port: freePort(t), log: new(locked)}
	acl, err := os.ReadFile(filepath.Join("..", "deploy", "mosquitto.acl"))
	if err != nil {
		t.Fatal(err)
	}
	m.write(t, "acl", edit(string(acl)))
	m.write(t, "passwords", "")
	for _, user := range []string{"rhizostat", "devices", "controller", "grower"} {
		if out, err := exec.Command(passwords, "-b", m.path("passwords"), user, "secret of "+user).CombinedOutput(); err != nil {
			t.Fatalf("mosquitto_passwd: %v: %s", err, out)
		}
		m.write(t, user, "secret of "+user+"\n")
	}
	conf, err := os.ReadFile(filepath.Join("..", "deploy", "mosquitto.conf"))
	if err != nil {
		t.Fatal(err)
	}
	// what we ship, with the places of a container replaced
	text := strings.NewReplacer("listener 1883", fmt.Sprintf("listener %d 127.0.0.1", m.port), "/mosquitto/config/", m.folder+"/", "/mosquitto/data/", m.folder+"/").Replace(string(conf))
	if os.Geteuid() == 0 {
		text += "user root\n" // else it gives up its rights, and cannot read the test's folder
	}
	for _, kind := range []string{"error", "warning", "notice", "information", "subscribe"} { // its own choice, and who has subscribed
		text += "log_type " + kind + "\n"
	}
	m.write(t, "mosquitto.conf", text)
	m.start(t)
	t.Cleanup(func() {
		m.stop()
		if t.Failed() {
			t.Logf("mosquitto's log:\n%s", m.log.String())
		}
	})
	return m
}

func tool(t testing.TB, name string) string {
	t.Helper()
	for _, folder := range []string{"", "/usr/sbin/", "/usr/local/sbin/"} { // a user's path may lack them
		if path, err := exec.LookPath(folder + name); err == nil {
			return path
		}
	}
	t.Skipf("%s is not installed; this test needs it", name)
	return ""
}

// freePort is a port that no other test is given: tests run side by side, and two brokers
// on one port would be one. It lies below those that Linux hands out by itself.
func freePort(t testing.TB) int {
	t.Helper()
	ports.Lock()
	defer ports.Unlock()
	for range 1000 {
		port := 20000 + rand.IntN(12000)
		if ports.given[port] {
			continue
		}
		if l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port)); err == nil {
			l.Close()
			ports.given[port] = true
			return port
		}
	}
	t.Fatal("no port is free")
	return 0
}

var ports = struct {
	sync.Mutex
	given map[int]bool
}{given: map[int]bool{}}

func (m *mosquitto) path(name string) string { return filepath.Join(m.folder, name) }

func (m *mosquitto) write(t testing.TB, name, text string) {
	t.Helper()
	if err := os.WriteFile(m.path(name), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func (m *mosquitto) start(t testing.TB) {
	t.Helper()
	m.command = exec.Command(m.program, "-c", m.path("mosquitto.conf"))
	m.command.Stdout, m.command.Stderr = m.log, m.log
	if err := m.command.Start(); err != nil {
		t.Fatal(err)
	}
	eventually(t, 10*time.Second, func() string { return "mosquitto does not listen\n" + m.log.String() }, func() bool {
		if !strings.Contains(m.log.String(), " running") {
			return false // what listens there may be another
		}
		c, err := net.Dial("tcp", m.address())
		if err != nil {
			return false
		}
		c.Close()
		return true
	})
}

func (m *mosquitto) stop() {
	m.command.Process.Signal(syscall.SIGTERM)
	m.command.Wait() // it is asked to end; how it does is not ours
}

func (m *mosquitto) address() string { return fmt.Sprintf("127.0.0.1:%d", m.port) }

// as are the arguments of a mosquitto client for a user.
func (m *mosquitto) as(user string, args ...string) []string {
	return append([]string{"-h", "127.0.0.1", "-p", fmt.Sprint(m.port), "-u", user, "-P", "secret of " + user, "-q", "1"}, args...)
}

// publish sends one message with mosquitto_pub.
func (m *mosquitto) publish(t *testing.T, user, topic string, payload []byte) {
	t.Helper()
	c := exec.Command("mosquitto_pub", m.as(user, "-t", topic, "-s")...)
	c.Stdin = bytes.NewReader(payload)
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub to %s: %v: %s", topic, err, out)
	}
}

// retained is what a client that connects now is given on a topic, or what comes there
// while it waits; nil when nothing stands there.
func (m *mosquitto) retained(t *testing.T, user, topic string) []byte {
	t.Helper()
	const timedOut = 27 // its status where -W ended it
	out, err := exec.Command("mosquitto_sub", m.as(user, "-t", topic, "-C", "1", "-W", "5", "-N")...).Output()
	var exit *exec.ExitError
	if err != nil && len(out) > 0 && (!errors.As(err, &exit) || exit.ExitCode() != timedOut) {
		t.Fatalf("mosquitto_sub %s: %v", topic, err)
	}
	return out
}

// daemon starts a daemon on the broker.
func (m *mosquitto) daemon(t testing.TB, site string) *child {
	t.Helper()
	c := startChild(t, "RHIZOSTAT_BROKER=tcp://"+m.address(), "RHIZOSTAT_USERNAME=rhizostat", "RHIZOSTAT_PASSWORD_FILE="+m.path("rhizostat"),
		"RHIZOSTAT_SITES="+site, "RHIZOSTAT_LEDGER="+filepath.Join(t.TempDir(), "l.db"), "RHIZOSTAT_HTTP=127.0.0.1:0", "RHIZOSTAT_CLOCK=telemetry")
	t.Cleanup(func() {
		c.command.Process.Kill() // it has ended, unless the test failed
		if t.Failed() {
			t.Logf("the daemon's log:\n%s", c.log.String())
		}
	})
	return c
}

// person is a grower at a console.
func (m *mosquitto) person(out *bytes.Buffer) Console {
	return Console{Root: "rhizostat", Site: "north", Out: out, Link: link.Settings{
		Broker: "tcp://" + m.address(), ClientID: "person", Username: "grower", PasswordFile: m.path("grower"),
	}}
}

func (m *mosquitto) decide(t *testing.T, verdict wire.Verdict, wait time.Duration) (string, error) {
	t.Helper()
	var out bytes.Buffer
	d := Decide{Console: m.person(&out), Verdict: verdict, By: "head grower", Wait: wait}
	err := d.Do(t.Context())
	return out.String(), err
}

// standing is the advice that stands on the broker.
func (m *mosquitto) standing(t *testing.T, user string) *wire.Advice {
	t.Helper()
	payload := m.retained(t, user, "rhizostat/north/bench-0/advice")
	if len(payload) == 0 {
		return nil
	}
	a, err := wire.ParseAdvice(payload)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// tellUntilAdvised sends readings with mosquitto_pub, as a gateway does, until
// an advice stands.
func (m *mosquitto) tellUntilAdvised(t *testing.T) *wire.Advice {
	t.Helper()
	for range patience { // what comes before the daemon has subscribed is lost, as everywhere
		for after := time.Duration(0); after <= 40*time.Minute; after += 5 * time.Minute {
			for p := range 2 {
				m.publish(t, "devices", fmt.Sprintf("rhizostat/north/bench-0/telemetry/p%d", p+1), reading(0, p, after))
			}
		}
		for range 3 {
			if a := m.standing(t, "grower"); a != nil {
				return a
			}
		}
	}
	t.Fatal("no advice stands")
	return nil
}

func (m *mosquitto) isOnline(t *testing.T) bool { return m.is(t, wire.Online) }

// is tells whether the site is said to be so; false also where that is not heard in time.
func (m *mosquitto) is(t *testing.T, what string) bool {
	t.Helper()
	s, err := wire.ParseStatus(m.retained(t, "controller", "rhizostat/north/status"))
	return err == nil && s.Status == what
}

// One reading's whole way on a real broker with the access list we ship:
// mosquitto_pub in, retained advice out, a person approves, setpoints out, the
// broker restarts in the middle, the person withdraws, and nothing stands.
func TestTheWholeWayOnMosquitto(t *testing.T) {
	t.Parallel()
	m := newMosquitto(t, func(acl string) string { return acl })
	daemon := m.daemon(t, writeSite(t, siteOf("north", 1)))
	eventually(t, 15*time.Second, text("not online"), func() bool { return m.isOnline(t) })
	a := m.tellUntilAdvised(t)
	if a.Approval.State != policy.StatePending {
		t.Fatalf("the first advice is %s", a.Approval.State)
	}
	const setpoint, volume = "rhizostat/north/bench-0/setpoint", "rhizostat/north/bench-0/setpoint/shot_volume_ml"
	if got := m.retained(t, "controller", setpoint); len(got) > 0 {
		t.Fatalf("nobody approved, and %s has %s", setpoint, got)
	}

	if out, err := m.decide(t, wire.Approve, time.Minute); err != nil || !strings.Contains(out, "approve accepted") {
		t.Fatalf("approve: %v\n%s", err, out)
	}
	m.wantSetpoint(t, setpoint, volume, a)

	m.stop()
	m.start(t)
	eventually(t, 30*time.Second, text("not online after the broker's restart"), func() bool { return m.isOnline(t) })
	m.wantSetpoint(t, setpoint, volume, a)

	if out, err := m.decide(t, wire.Withdraw, time.Minute); err != nil || !strings.Contains(out, "withdraw accepted") {
		t.Fatalf("withdraw: %v\n%s", err, out)
	}
	eventually(t, 10*time.Second, text("withdrawn, and setpoints stand"), func() bool {
		return len(m.retained(t, "controller", setpoint)) == 0 && len(m.retained(t, "controller", volume)) == 0
	})
	eventually(t, 10*time.Second, text("withdrawn, and the advice says otherwise"), func() bool {
		a := m.standing(t, "grower")
		return a != nil && a.Approval.State == policy.StateWithdrawn
	})
	if out, err := m.decide(t, wire.Withdraw, time.Second); err == nil {
		t.Errorf("withdrawn twice:\n%s", out)
	}
	var list bytes.Buffer
	console := m.person(&list)
	if err := console.List(t.Context(), true, true); err != nil || !strings.Contains(list.String(), "why: ") {
		t.Errorf("the list: %v\n%s", err, list.String())
	}

	daemon.end(t, os.Interrupt)
	eventually(t, 10*time.Second, text("the daemon has ended and its status does not say offline"), func() bool { return m.is(t, wire.Offline) })
}

func (m *mosquitto) wantSetpoint(t *testing.T, setpoint, volume string, a *wire.Advice) {
	t.Helper()
	var stands []byte
	eventually(t, 15*time.Second, func() string { return fmt.Sprintf("%s has %q", setpoint, stands) }, func() bool {
		stands = m.retained(t, "controller", setpoint)
		s, err := wire.ParseSetpoint(stands)
		return err == nil && s.Advice == a.ID && s.Digest == a.Approval.Digest && s.ApprovedBy == "head grower"
	})
	want := fmt.Sprint(a.Setpoints.ShotVolumeML)
	eventually(t, 5*time.Second, text(volume+" is not "+want), func() bool { return string(bytes.TrimSpace(m.retained(t, "controller", volume))) == want })
}

// mosquitto grants what it then forbids, without a word: the daemon notices that
// its own status does not come back. What the list does not allow counts for
// nothing, whoever sends it.
func TestForbiddenByTheAccessList(t *testing.T) {
	t.Parallel()
	m := newMosquitto(t, func(acl string) string {
		return strings.Replace(acl, "topic readwrite rhizostat/+/status", "topic read rhizostat/+/status", 1)
	})
	daemon := m.daemon(t, writeSite(t, siteOf("north", 1)))
	eventually(t, 20*time.Second, text("the daemon does not notice that it may not publish"), func() bool {
		return strings.Contains(daemon.log.String(), "our own status did not come back")
	})
	a := m.tellUntilAdvised(t) // the rest is allowed
	d := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: wire.Approve, By: "not a grower"}
	payload, err := d.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	m.publish(t, "devices", "rhizostat/north/bench-0/decision", payload)
	m.publish(t, "controller", "rhizostat/north/bench-0/decision", payload)
	ctx, stop := context.WithTimeout(t.Context(), time.Second)
	defer stop()
	<-ctx.Done() // time enough for a decision that should not come
	eventually(t, 10*time.Second, text("no advice stands"), func() bool { a = m.standing(t, "grower"); return a != nil })
	if a.Approval.State != policy.StatePending {
		t.Errorf("a device decided: the advice is %s", a.Approval.State)
	}
	daemon.end(t, syscall.SIGTERM)
}
