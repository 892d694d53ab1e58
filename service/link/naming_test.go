package link

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
)

// siteLink is a daemon of some sites, all under the client id "test".
func siteLink(address string, in *inbox, sites ...string) *Link {
	l := testLink(address, Handlers{Telemetry: func(topic string, _ []byte, _ bool) { in.add(topic) }})
	var all []Site
	var filters []string
	for _, id := range sites {
		all = append(all, Site{
			ID: id, Control: []string{"r/" + id + "/+/decision"}, ReadBack: []string{"r/" + id + "/+/setpoint"},
			Status: "r/" + id + "/status", Online: []byte("online"), Offline: []byte("offline"), Ended: []byte("offline ended"),
		})
		filters = append(filters, "r/"+id+"/+/telemetry/+")
	}
	return New(l.settings, filters, all, l.handlers, l.log)
}

func (in *inbox) count() int {
	in.mu.Lock()
	defer in.mu.Unlock()
	return len(in.got)
}

func send(t *testing.T, server *mochi.Server, topic string) {
	t.Helper()
	if err := server.Publish(topic, []byte("1"), false, 1); err != nil {
		t.Fatal(err)
	}
}

// Two daemons of two sites that share a broker and the default client id lose
// nothing to each other.
func TestTwoDaemonsUnderOneClientID(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var north, west inbox
	first, second := siteLink(address, &north, "north"), siteLink(address, &west, "west")
	defer run(t, first)()
	defer run(t, second)()
	eventually(t, "both are connected", func() bool { return first.Connected() && second.Connected() })
	const readings = 50
	for range readings {
		send(t, server, "r/north/a/telemetry/p1")
		send(t, server, "r/west/a/telemetry/p1")
	}
	eventually(t, "all readings of both", func() bool { return north.count() == readings && west.count() == readings })
}

// What the broker keeps while a daemon reloads its site files is there for the next
// link, also where a site has come before the first; a site that leaves takes its
// session's subscriptions along.
func TestTheTelemetrySessionOutlivesAReload(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var in inbox
	before := siteLink(address, &in, "north")
	stop := run(t, before)
	eventually(t, "connected", before.Connected)
	stop()
	send(t, server, "r/north/a/telemetry/p1")
	after := siteLink(address, &in, "east", "north")
	after.Follow(before)
	stop = run(t, after)
	eventually(t, "what came meanwhile", func() bool { return in.last() == "r/north/a/telemetry/p1" })
	eventually(t, "connected", after.Connected)
	after.Quit(1)
	stop()
	eventually(t, "the session is named after a site that has left, and the broker keeps nothing for it", func() bool {
		c, ok := server.Clients.Get("test-telemetry:north")
		return !ok || len(c.State.Subscriptions.GetAll()) == 0
	})
	last := siteLink(address, &in, "east")
	last.Follow(after)
	if last.telemetry.clientID != "test-telemetry:east" {
		t.Errorf("after that telemetry goes by %q, want east's", last.telemetry.clientID)
	}
}

func statusOf(site string) string { return "r/" + site + "/status" }

// leave has the broker keep a session of telemetry under a name.
func leave(t *testing.T, server *mochi.Server, address, clientID string) {
	t.Helper()
	s := siteLink(address, new(inbox), "north").telemetry
	s.clientID = clientID
	ctx, stop := context.WithCancel(t.Context())
	var ended sync.WaitGroup
	up := make(chan struct{})
	told := sync.OnceFunc(func() { close(up) })
	s.connected = func(yes bool) {
		if yes {
			told()
		}
	}
	ended.Go(func() { s.run(ctx) })
	<-up
	stop()
	ended.Wait()
	if _, ok := server.Clients.Get(clientID); !ok {
		t.Fatalf("the broker has no session %s", clientID)
	}
}

// A session of an earlier version, or named after another of our sites, would keep
// messages at the broker that nobody fetches.
func TestFormerSessionsAreCleared(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	former := []string{"test-telemetry", "test-telemetry:north", "test-telemetry:west"}
	for _, id := range former {
		leave(t, server, address, id)
	}
	l := siteLink(address, new(inbox), "east", "north")
	cleared := make(chan struct{})
	l.handlers.Cleared = func() { close(cleared) }
	l.Forget([]string{"west"}, statusOf)
	defer run(t, l)()
	eventually(t, "they are gone", func() bool {
		for _, id := range former {
			if _, ok := server.Clients.Get(id); ok {
				return false
			}
		}
		return l.Connected()
	})
	<-cleared
}

// The session of a site that we served before is another daemon's once that one serves
// the site under our client id, also while it is away; under another id it has a session
// of its own, and ours is left over.
func TestASiteThatAnotherHasTakenOverIsLeftItsSession(t *testing.T) {
	for status, kept := range map[string]bool{
		"": false, "own lost": false, "former namesake online": false, "online": false,
		"namesake online": true, "namesake lost": true, "namesake ended": true,
	} {
		t.Run(status, func(t *testing.T) {
			t.Parallel()
			server, address := broker(t, "127.0.0.1:0")
			defer server.Close()
			leave(t, server, address, "test-telemetry:west")
			left, _ := server.Clients.Get("test-telemetry:west")
			if err := server.Publish(statusOf("west"), []byte(status), true, 1); err != nil {
				t.Fatal(err)
			}
			l := siteLink(address, new(inbox), "north")
			l.handlers.Claim = says
			cleared := make(chan struct{})
			l.handlers.Cleared = func() { close(cleared) }
			l.Forget([]string{"west"}, statusOf)
			defer run(t, l)()
			select {
			case <-cleared:
			case <-time.After(limit):
				t.Fatal("nothing was cleared")
			}
			if kept { // a session that was taken over, if only to be cleared, is another one
				if now, stands := server.Clients.Get("test-telemetry:west"); !stands || now != left {
					t.Errorf("the session of west was cleared; another daemon serves it")
				}
				return
			}
			eventually(t, "the session of west is gone", func() bool { // the broker drops it once the connection has ended
				_, stands := server.Clients.Get("test-telemetry:west")
				return !stands
			})
		})
	}
}

// After a restart telemetry goes by the name of before as long as that site is ours,
// wherever in the order it stands now: its readings wait under that name.
func TestTheTelemetrySessionOutlivesARestart(t *testing.T) {
	for name, c := range map[string]struct {
		former, sites []string
		want          string
		past          []string
	}{
		"the first start":      {nil, []string{"barn", "north"}, "barn", []string{"north"}},
		"a site comes before":  {[]string{"north"}, []string{"barn", "north"}, "north", []string{"barn"}},
		"the site has left":    {[]string{"north"}, []string{"barn"}, "barn", []string{"north"}},
		"the newest that is":   {[]string{"west", "north", "barn"}, []string{"barn", "north"}, "north", []string{"west", "barn"}},
		"nothing has happened": {[]string{"north"}, []string{"north"}, "north", nil},
	} {
		l := siteLink("127.0.0.1:1", new(inbox), c.sites...)
		l.Forget(c.former, statusOf)
		var want []past
		for _, site := range c.past {
			p := past{clientID: "test-telemetry:" + site}
			if !slices.Contains(c.sites, site) {
				p.status = statusOf(site)
			}
			want = append(want, p)
		}
		want = append(want, past{clientID: "test-telemetry"})
		if l.Anchor() != c.want || l.telemetry.clientID != "test-telemetry:"+c.want || !slices.Equal(l.past, want) {
			t.Errorf("%s: goes by %s and clears %q, want %s and %q", name, l.telemetry.clientID, l.past, c.want, want)
		}
	}
}

// Who shares a client id all the same is told what to do.
func TestARivalIsSaid(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var mu sync.Mutex
	var said bytes.Buffer
	log := slog.New(slog.NewTextHandler(writer(func(p []byte) (int, error) {
		mu.Lock()
		defer mu.Unlock()
		return said.Write(p)
	}), nil))
	for i := range 2 {
		l := siteLink(address, new(inbox), "north")
		l.telemetry.log, l.telemetry.name = log, fmt.Sprintf("telemetry of %d", i)
		ctx, stop := context.WithCancel(t.Context())
		var ended sync.WaitGroup
		ended.Go(func() { l.telemetry.run(ctx) })
		defer ended.Wait()
		defer stop()
	}
	eventually(t, "a sentence", func() bool {
		mu.Lock()
		defer mu.Unlock()
		return strings.Contains(said.String(), "set RHIZOSTAT_CLIENT_ID") && strings.Contains(said.String(), "client_id=test-telemetry:north")
	})
}

type writer func(p []byte) (int, error)

func (w writer) Write(p []byte) (int, error) { return w(p) }
