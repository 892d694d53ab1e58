package service

import (
	"fmt"
	"io"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// A machine with both the broker and the daemon loses power: no will is sent,
// and what the broker has on its disk says online. The daemon starts again.
func TestStartAfterAPowerCut(t *testing.T) {
	t.Parallel()
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	status := followStatus(t, b, topics.Status())
	w := watch(t, b, topics.Status())
	environ := environment(t, b.Address, writeSite(t, siteOf("north", 1)))
	c := startChild(t, environ...)
	// two subscriptions are told one after the other
	eventually(t, 10*time.Second, text("the daemon is not online"), func() bool { return status.online() != "" && w.get(topics.Status()) != nil })
	dead, kept := status.online(), w.get(topics.Status())
	c.kill(t)
	eventually(t, 10*time.Second, text("no will"), func() bool { return status.online() == "" })
	if err := b.Publish(topics.Status(), kept, true); err != nil {
		t.Fatal(err)
	}
	c = startChild(t, environ...)
	defer c.end(t, syscall.SIGTERM)
	eventually(t, 15*time.Second, func() string { return "the daemon takes itself for another\n" + c.log.String() }, func() bool {
		now := status.online()
		return now != "" && now != dead
	})
}

// A daemon that is ended in the middle of a reload leaves no online behind: the
// site had stayed online for a link that never came.
func TestTheEndInTheMiddleOfAReload(t *testing.T) {
	t.Parallel()
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	status := followStatus(t, b, topics.Status())
	c := startChild(t, environment(t, b.Address, writeSite(t, siteOf("north", 1)))...)
	eventually(t, 10*time.Second, text("the daemon is not online"), func() bool { return status.online() != "" })
	c.hangUp(t)
	eventually(t, 10*time.Second, text("no reload"), func() bool { return strings.Contains(c.log.String(), "site files reloaded") })
	time.Sleep(300 * time.Millisecond) // the old link has gone, the new one still looks out
	c.end(t, syscall.SIGTERM)
	eventually(t, 10*time.Second, func() string { return "it has ended and its site says online\n" + c.log.String() }, func() bool { return status.online() == "" })
}

// breaker is a way to a broker that can be cut.
type breaker struct {
	address string
	mu      sync.Mutex
	down    bool
	conns   []net.Conn
}

func newBreaker(t *testing.T, broker string) *breaker {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b := &breaker{address: l.Addr().String()}
	t.Cleanup(func() { l.Close(); b.cut(true) })
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return // the test is over
			}
			b.join(near, broker)
		}
	}()
	return b
}

// join carries what comes on a connection, unless the way is cut.
func (b *breaker) join(near net.Conn, broker string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	far, err := net.Dial("tcp", broker)
	if err != nil || b.down {
		near.Close()
		if err == nil {
			far.Close()
		}
		return
	}
	b.conns = append(b.conns, near, far)
	carry := func(to, from net.Conn) {
		io.Copy(to, from) // it ends with either connection
		to.Close()
		from.Close()
	}
	go carry(near, far)
	go carry(far, near)
}

func (b *breaker) cut(down bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.down = down
	for _, c := range b.conns {
		c.Close()
	}
	b.conns = nil
}

// A blip of the first daemon's connection does not call the standby.
func TestABlipDoesNotCallTheStandby(t *testing.T) {
	t.Parallel()
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	status := followStatus(t, b, topics.Status())
	path, way := writeSite(t, siteOf("north", 1)), newBreaker(t, b.Address)
	first := startChild(t, environment(t, way.address, path, "RHIZOSTAT_CLIENT_ID=one")...)
	defer first.end(t, syscall.SIGTERM)
	var instance string
	eventually(t, 10*time.Second, text("the first daemon is not online"), func() bool { instance = status.online(); return instance != "" })
	standby := startChild(t, environment(t, b.Address, path, "RHIZOSTAT_CLIENT_ID=two", "RHIZOSTAT_STANDBY=true")...)
	defer standby.end(t, syscall.SIGTERM)
	eventually(t, 10*time.Second, text("the standby has not seen the first one"), func() bool {
		return strings.Contains(standby.log.String(), "waiting for its end")
	})
	way.cut(true)
	eventually(t, 10*time.Second, text("the connection's end was not noticed"), func() bool { return status.online() == "" })
	time.Sleep(3 * time.Second)
	way.cut(false)
	eventually(t, 20*time.Second, text("nobody is online again"), func() bool { return status.online() != "" })
	time.Sleep(3 * time.Second)
	for _, s := range status.said() {
		if s.Status == wire.Online && s.Instance != instance {
			t.Fatalf("the standby took over\n%s", standby.log.String())
		}
	}
}

// Two daemons that are started together find nobody there, both of them: one of
// them refuses all the same, also where they share a client id and each kicks out
// the other.
func TestOfTwoStartedTogetherOneRefuses(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("it takes a refusal half a minute to be sure")
	}
	for _, names := range [][]string{{"one", "two"}, {"same", "same"}} {
		t.Run(names[1], func(t *testing.T) {
			t.Parallel()
			oneRefuses(t, names)
		})
	}
}

func oneRefuses(t *testing.T, names []string) {
	t.Helper()
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	status := followStatus(t, b, topics.Status())
	path := writeSite(t, siteOf("north", 1))
	type end struct {
		c   *child
		err error
	}
	ended := make(chan end, 2)
	var children []*child
	var waiting sync.WaitGroup
	for _, name := range names {
		c := startChild(t, environment(t, b.Address, path, "RHIZOSTAT_CLIENT_ID="+name)...)
		children = append(children, c)
		waiting.Go(func() { ended <- end{c, c.command.Wait()} })
	}
	t.Cleanup(func() {
		for _, c := range children {
			c.command.Process.Kill() // one has ended
		}
		waiting.Wait() // its folder goes next
	})
	select {
	case e := <-ended:
		if e.c.command.ProcessState.ExitCode() != 1 || !strings.Contains(e.c.log.String(), "another daemon is online there") {
			t.Errorf("one ended with %v\n%s", e.err, e.c.log.String())
		}
	case <-time.After(patience * 30 * time.Second):
		t.Fatal("both serve")
	}
	// the one that ended may have kicked the other out, which then connects again
	var instance string
	eventually(t, 20*time.Second, text("nobody serves the site"), func() bool { instance = status.online(); return instance != "" })
	select {
	case e := <-ended:
		t.Errorf("the other ended too: %v\n%s", e.err, e.c.log.String())
	case <-time.After(3 * time.Second):
	}
	eventually(t, 20*time.Second, func() string {
		return fmt.Sprintf("the site is served by %q, then by %q", instance, status.online())
	}, func() bool { return status.online() == instance })
}

// A reload that adds a site which another daemon serves changes nothing and says
// so; the old sites are served on. Once the other one has ended it is taken.
func TestAReloadThatAddsAServedSite(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("it takes a refusal half a minute to be sure")
	}
	b := newBroker(t)
	north, south := followStatus(t, b, "rhizostat/north/status"), followStatus(t, b, "rhizostat/south/status")
	folder := t.TempDir()
	rewrite(t, filepath.Join(folder, "north.yaml"), siteOf("north", 1))
	one := startChild(t, environment(t, b.Address, folder, "RHIZOSTAT_CLIENT_ID=one")...)
	defer one.end(t, syscall.SIGTERM)
	two := startChild(t, environment(t, b.Address, writeSite(t, siteOf("south", 1)), "RHIZOSTAT_CLIENT_ID=two")...)
	eventually(t, 10*time.Second, text("not both are online"), func() bool { return north.online() != "" && south.online() != "" })
	rewrite(t, filepath.Join(folder, "south.yaml"), siteOf("south", 1))
	one.hangUp(t)
	eventually(t, time.Minute, text("the reload was not refused"), func() bool {
		return strings.Contains(one.log.String(), "site files not reloaded; the old ones stay in use")
	})
	if said := one.log.String(); !strings.Contains(said, "the files add south: rhizostat/south/status: another daemon is online there") {
		t.Errorf("it said\n%s", said)
	}
	w, topics := watch(t, b, "rhizostat/north/#"), wire.Topics{Root: "rhizostat", Site: "north"}
	tell(t, b, "north", 1, 0, 20*time.Minute)
	eventually(t, 10*time.Second, text("the old site is not served"), func() bool { return w.count(topics.State(bench(0))) > 0 })
	two.end(t, syscall.SIGTERM)
	one.hangUp(t)
	eventually(t, 15*time.Second, func() string { return "south is free and not served\n" + one.log.String() }, func() bool { return south.online() == north.online() && north.online() != "" })
	for _, s := range north.said() {
		if s.Status != wire.Online {
			t.Errorf("north was said to be %s", s.Status)
		}
	}
}
