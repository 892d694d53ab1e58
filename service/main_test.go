package service

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// childEnv makes the test program one of its children: a daemon, so that it can be killed.
const childEnv = "SERVICE_TEST_CHILD"

// children are what it can be.
var children = map[string]func() error{"run": runChild}

func TestMain(m *testing.M) {
	if os.Getenv(childEnv) == "" {
		os.Exit(m.Run())
	}
	run := children[os.Getenv(childEnv)]
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// runChild is what the command run does.
func runChild() error {
	if err := limitChild(); err != nil {
		return err
	}
	settings, err := SettingsFromEnvironment(os.Environ())
	if err != nil {
		return err
	}
	log, err := settings.Logger(os.Stderr)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return Run(ctx, settings, "test", log)
}

// child is a daemon in a process of its own.
type child struct {
	command *exec.Cmd
	log     locked
}

// locked is a buffer that may be read while a process still writes to it.
type locked struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *locked) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *locked) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// startChild starts a daemon with these lines of environment; the RHIZOSTAT_
// names of whoever runs the tests do not count.
func startChild(t testing.TB, environ ...string) *child {
	t.Helper()
	return startAs(t, "run", environ...)
}

// startAs starts another of the children.
func startAs(t testing.TB, what string, environ ...string) *child {
	t.Helper()
	c := &child{command: exec.Command(os.Args[0])}
	for _, line := range os.Environ() {
		if !strings.HasPrefix(line, "RHIZOSTAT_") {
			c.command.Env = append(c.command.Env, line)
		}
	}
	c.command.Env = append(append(c.command.Env, childEnv+"="+what), environ...)
	c.command.Stderr = &c.log
	if err := c.command.Start(); err != nil {
		t.Fatal(err)
	}
	return c
}

// kill ends it as a power cut would: with no chance to tidy up.
func (c *child) kill(t testing.TB) {
	t.Helper()
	if err := c.command.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	c.command.Wait() // it was killed: its status says nothing
}

// inTime is how long a daemon may take to end: the unit that we ship has a service manager
// wait as long.
const inTime = slower * 10 * time.Second

// end asks it to stop and wants it to, in order.
func (c *child) end(t *testing.T, with os.Signal) (took time.Duration) {
	t.Helper()
	began := time.Now()
	if err := c.command.Process.Signal(with); err != nil {
		t.Fatalf("%v\n%s", err, c.log.String())
	}
	ended := make(chan error, 1)
	go func() { ended <- c.command.Wait() }()
	const limit = patience * inTime
	select {
	case err := <-ended:
		took = time.Since(began)
		if err != nil {
			t.Errorf("after %v the daemon ended with %v\n%s", with, err, c.log.String())
		}
		t.Logf("it ended %.1f s after %v", took.Seconds(), with)
	case <-time.After(limit):
		took = limit
		if err := c.command.Process.Kill(); err != nil {
			t.Error(err)
		}
		<-ended
		t.Errorf("%s after %v the daemon still runs\n%s", limit, with, c.log.String())
	}
	return took
}

// endsInTime wants daemons that begin says to end in time. One of three is enough: what
// waits for too long does so each time, a busy machine does not.
func endsInTime(t *testing.T, begin func() *child) {
	t.Helper()
	var all []time.Duration
	for range 3 {
		took := begin().end(t, syscall.SIGTERM)
		if took <= inTime {
			return
		}
		all = append(all, took)
	}
	t.Errorf("daemons ended %s after they were asked to; expected %s at most", all, inTime)
}
