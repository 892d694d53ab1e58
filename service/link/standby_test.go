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

// says judges statuses by their words: online, own, former.
func says(payload []byte) Claim {
	word := string(payload)
	return Claim{Online: strings.Contains(word, "online"), Own: strings.Contains(word, "own"), Former: strings.Contains(word, "former")}
}

// looked is how a look-out of so long a time ends, and when; tell tells it what
// comes from the broker.
func looked(t *testing.T, standby bool, limit time.Duration, tell func(note func(status string, retained bool))) (took time.Duration, err error) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		l := testLink("nowhere:1", Handlers{Claim: says})
		seen := &lookOut{claim: says}
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
		if err := server.Publish(s.Status, []byte(word), true, 0); err != nil {
			t.Fatal(err)
		}
	}
	l := New(Settings{Broker: "tcp://" + address, ClientID: "test"}, nil, sites, Handlers{Claim: says}, slog.New(slog.NewTextHandler(io.Discard, nil)))
	for range 2 { // retained messages come in any order
		ctx, stop := context.WithTimeout(t.Context(), 3*time.Second)
		err := l.Precede(ctx, true)
		stop()
		if err == nil {
			t.Fatal("the daemon of the site in the middle was not seen")
		}
	}
}
