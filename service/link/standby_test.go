package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// says judges statuses by their words: online, lost, own, former, namesake.
func says(payload []byte) Claim {
	word := string(payload)
	has := func(part string) bool { return strings.Contains(word, part) }
	return Claim{Online: has("online"), Lost: has("lost"), Own: has("own"), Former: has("former"), Namesake: has("namesake")}
}

// looked is how a look-out of so long a time ends, and when; tell tells it what
// comes from the broker.
func looked(t *testing.T, standby bool, limit time.Duration, tell func(note func(status string, retained bool))) (took time.Duration, err error) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		l := testLink("nowhere:1", Handlers{Claim: says})
		seen := &lookOut{claim: says, patient: standby}
		ctx, stop := context.WithTimeout(t.Context(), limit)
		defer stop()
		go tell(func(status string, retained bool) {
			if ctx.Err() == nil {
				seen.note("r/north/status", []byte(status), retained, time.Now())
			}
		})
		began := time.Now()
		err = l.awaitFree(ctx, seen, nil, standby)
		took = time.Since(began)
		stop()
		time.Sleep(limit + time.Hour) // whoever tells has ended
	})
	return took, err
}

// What a broker that lost power with its daemon has kept is a dead one's, be it
// of another ledger; of ours it is known at once.
func TestAnOnlineWithNobodyBehindIt(t *testing.T) {
	for _, standby := range []bool{false, true} {
		took, err := looked(t, standby, 5*time.Minute, func(note func(string, bool)) { note("online of another", true) })
		if err != nil || took < patience {
			t.Errorf("standby %v, another's: after %s: %v; want patience, then free", standby, took, err)
		}
		took, err = looked(t, standby, 5*time.Minute, func(note func(string, bool)) { note("online former", true) })
		if err != nil || took > 2*time.Second {
			t.Errorf("standby %v, a former one of ours: after %s: %v; want free at once", standby, took, err)
		}
	}
}

// A daemon that lives is never taken for dead.
func TestALivingDaemonIsRespected(t *testing.T) {
	beats := func(note func(string, bool)) {
		note("online of another", true)
		for range 50 {
			time.Sleep(beat)
			note("online of another", false)
		}
	}
	if took, err := looked(t, false, 10*time.Minute, beats); !errors.As(err, new(*OtherError)) || took > time.Minute {
		t.Errorf("after %s: %v; want a refusal", took, err)
	}
	if took, err := looked(t, true, 10*time.Minute, beats); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("standby, after %s: %v; want it to wait", took, err)
	}
}

// A blip of a daemon's connection is not its end; a standby waits until it cannot
// come back. An orderly end is one, and a will of ours is nobody's.
func TestAStandbyLeavesTimeToComeBack(t *testing.T) {
	blips := func(note func(string, bool)) {
		note("online of another", true)
		for range 10 {
			time.Sleep(beat)
			note("lost of another", false)
			time.Sleep(lastBackoff + 15*time.Second)
			note("online of another", false)
		}
	}
	if took, err := looked(t, true, 10*time.Minute, blips); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("blips: free after %s: %v", took, err)
	}
	for status, free := range map[string]func(time.Duration) bool{
		"lost of another": func(took time.Duration) bool { return took >= absence && took < 2*absence },
		"lost former":     func(took time.Duration) bool { return took <= 2*time.Second },
		"ended":           func(took time.Duration) bool { return took <= 2*time.Second },
	} {
		for _, retained := range []bool{true, false} {
			took, err := looked(t, true, 10*time.Minute, func(note func(string, bool)) { note(status, retained) })
			if err != nil || !free(took) {
				t.Errorf("%s, retained %v: free after %s: %v", status, retained, took, err)
			}
		}
	}
	if took, err := looked(t, false, 10*time.Minute, func(note func(string, bool)) { note("lost of another", true) }); err != nil || took > 2*time.Second {
		t.Errorf("no standby: free after %s: %v", took, err)
	}
}

// rival is a link of one of two daemons that serve the same site; the lower rank
// precedes.
func rival(address, clientID string, rank int) *Link {
	claim := func(payload []byte) Claim {
		var word string
		var theirs int
		if _, err := fmt.Sscanf(string(payload), "%s %d", &word, &theirs); err != nil {
			return Claim{}
		}
		return Claim{Online: word == "online", Lost: word == "lost", Own: theirs == rank, Before: theirs < rank}
	}
	l := testLink(address, Handlers{Claim: claim})
	site := l.sites[0]
	site.Online, site.Offline, site.Ended = fmt.Appendf(nil, "online %d", rank), fmt.Appendf(nil, "lost %d", rank), fmt.Appendf(nil, "ended %d", rank)
	settings := l.settings
	settings.ClientID = clientID
	return New(settings, nil, []Site{site}, l.handlers, l.log)
}

// hold holds a link; ended is closed when it gives way.
func hold(t *testing.T, l *Link) (stop func(), ended <-chan struct{}) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		l.Hold(ctx)
	}()
	return func() { cancel(); <-done }, done
}

// Two daemons that have both found nobody there: the one that precedes goes on,
// the other gives way, in whatever order they connect, and also where they
// share a client id and keep kicking out one another.
func TestOfTwoThatServeOneGivesWay(t *testing.T) {
	for _, names := range [][2]string{{"one", "two"}, {"same", "same"}} {
		for _, first := range []int{0, 1} {
			t.Run(fmt.Sprint(names, first), func(t *testing.T) {
				t.Parallel()
				server, address := broker(t, "127.0.0.1:0")
				defer server.Close()
				var status inbox
				status.follow(t, server, "r/north/status")
				links := [2]*Link{rival(address, names[0], 0), rival(address, names[1], 1)}
				var stops [2]func()
				var ended [2]<-chan struct{}
				stops[first], ended[first] = hold(t, links[first])
				eventually(t, "online", func() bool { return status.last() == fmt.Sprintf("r/north/status=online %d", first) })
				stops[1-first], ended[1-first] = hold(t, links[1-first])
				defer stops[0]()
				defer stops[1]()
				select {
				case <-ended[1]:
				case <-time.After(limit):
					t.Fatal("both serve")
				}
				eventually(t, "the one that precedes is online", func() bool { return links[0].Connected() && status.last() == "r/north/status=online 0" })
				select {
				case <-ended[0]:
					t.Error("the one that precedes gave way")
				case <-time.After(2 * time.Second):
				}
				// it gives way for good: its look-out sees the other
				ctx, stop := context.WithTimeout(t.Context(), 3*time.Second)
				defer stop()
				if err := links[1].Precede(ctx, false); err == nil {
					t.Error("the one that gave way does not see the other")
				}
				eventually(t, "the one that precedes is online still", func() bool { return status.last() == "r/north/status=online 0" })
			})
		}
	}
}

// A status that stood there before, of somebody who is found dead, is no reason
// to give way, whoever comes before whom.
func TestTheDeadAreNotGivenWayTo(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	if err := server.Publish("r/north/status", []byte("lost 0"), true, 1); err != nil {
		t.Fatal(err)
	}
	var status inbox
	l := rival(address, "two", 1)
	if err := l.Precede(t.Context(), false); err != nil {
		t.Fatal(err)
	}
	status.follow(t, server, "r/north/status")
	stop, _ := hold(t, l)
	defer stop()
	eventually(t, "online", func() bool { return status.last() == "r/north/status=online 1" })
}

func TestOnlineIsSaidAgainAndAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := testLink("nowhere:1", Handlers{})
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			l.stayOnline(ctx, 0)
		}()
		for range 10 {
			time.Sleep(patience) // so long a silence would be death
			m := l.outboxes[0].next()
			if m == nil || string(m.payload) != "online" || !m.retain {
				t.Fatalf("nothing was said for %s: %+v", patience, m)
			}
			l.outboxes[0].done(m, nil)
		}
		stop()
		<-ended
	})
}

// Of however many sites, each one's status is seen.
func TestAmongManySitesTheOneThatIsTakenIsSeen(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var sites []Site
	for i := range 300 {
		s := Site{ID: fmt.Sprintf("s%03d", i), Status: fmt.Sprintf("r/s%03d/status", i)}
		sites = append(sites, s)
		word := "offline"
		if i == 150 {
			word = "online"
		}
		if err := server.Publish(s.Status, []byte(word), true, 1); err != nil {
			t.Fatal(err)
		}
	}
	l := New(Settings{Broker: "tcp://" + address, ClientID: "test"}, nil, sites, Handlers{Claim: says}, slog.New(slog.NewTextHandler(io.Discard, nil)))
	for range 2 { // retained messages come in any order
		ctx, stop := context.WithTimeout(t.Context(), 3*time.Second)
		err := l.Precede(ctx, true)
		stop()
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("the daemon of the site in the middle was not seen: %v", err)
		}
	}
}

// What the site files no longer map is not sent any more after a reload, nor after a
// restart that was told what there was.
func TestDroppedFiltersAreUnsubscribed(t *testing.T) {
	for name, drop := range map[string]func(before, after *Link){
		"reload":  func(before, after *Link) { after.Follow(before) },
		"restart": func(_, after *Link) { after.Drop([]string{"plc/+/value", "r/north/+/telemetry/+"}) },
	} {
		t.Run(name, func(t *testing.T) { testDropped(t, drop) })
	}
}

func testDropped(t *testing.T, drop func(before, after *Link)) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	var telemetry inbox
	before := testLink(address, Handlers{Telemetry: func(topic string, _ []byte, _ bool) { telemetry.add(topic) }})
	link := func(filters ...string) *Link {
		return New(before.settings, filters, before.sites, before.handlers, before.log)
	}
	before = link("r/north/+/telemetry/+", "plc/+/value")
	stop := run(t, before)
	eventually(t, "connected", before.Connected)
	stop()
	after := link("r/north/+/telemetry/+")
	drop(before, after)
	stop = run(t, after)
	defer stop()
	eventually(t, "connected", after.Connected)
	for _, topic := range []string{"plc/7/value", "r/north/a/telemetry/p1"} {
		if err := server.Publish(topic, []byte("1"), false, 1); err != nil {
			t.Fatal(err)
		}
	}
	eventually(t, "telemetry", func() bool { return telemetry.last() == "r/north/a/telemetry/p1" })
	telemetry.mu.Lock()
	defer telemetry.mu.Unlock()
	if len(telemetry.got) != 1 {
		t.Errorf("came %q", telemetry.got)
	}
}

func TestASiteThatQuitsIsKeptNothingFor(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	l := testLink(address, Handlers{})
	stop := run(t, l)
	eventually(t, "connected", l.Connected)
	subscribed := func() bool { return len(server.Topics.Subscribers("r/north/a/decision").Subscriptions) > 0 }
	if !subscribed() {
		t.Fatal("decisions are not subscribed to")
	}
	l.Quit(0)
	stop()
	eventually(t, "the broker keeps no decisions for it", func() bool { return !subscribed() })
}

// Who gave way to a daemon that is between two connections does not take its
// silence for its end.
func TestWhoGaveWayLeavesTimeToComeBack(t *testing.T) {
	server, address := broker(t, "127.0.0.1:0")
	defer server.Close()
	if err := server.Publish("r/north/status", []byte("lost 0"), true, 1); err != nil {
		t.Fatal(err)
	}
	l := rival(address, "same", 1)
	_, ended := hold(t, l)
	select {
	case <-ended:
	case <-time.After(limit):
		t.Fatal("it did not give way to one that it had not seen before")
	}
	// what we had already sent may have come over it
	if err := server.Publish("r/north/status", []byte("online 1"), true, 1); err != nil {
		t.Fatal(err)
	}
	after := rival(address, "same", 1)
	after.Follow(l) // a reload does not make it forget
	for _, link := range []*Link{l, after} {
		ctx, stop := context.WithTimeout(t.Context(), 3*time.Second)
		if err := link.Precede(ctx, false); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("it does not wait: %v", err)
		}
		stop()
	}
}
