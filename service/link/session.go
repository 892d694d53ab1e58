package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

const (
	keepAlive    = 15 * time.Second
	pingTimeout  = 5 * time.Second
	firstBackoff = 500 * time.Millisecond
	lastBackoff  = 30 * time.Second
	farewell     = time.Second
	// steady is how long a connection must have lasted before the backoff
	// starts over.
	steady = time.Minute
)

// will is what the broker says for a session that died, and what the session
// says itself at its end.
type will struct {
	topic   string
	payload []byte
	goodbye []byte
}

// session keeps one MQTT session connected. Each connection has a fresh client
// of the library: its own reconnecting resends old publishes over newer ones,
// in any order.
type session struct {
	settings Settings
	name     string // what it is for, in logs
	clientID string
	filters  []string
	will     *will
	handle   func(mqtt.Message)
	hold     func() bool // nothing more is to be read for now; nil: never
	// up runs while a connection lasts; its context ends with it.
	up        func(ctx context.Context, client mqtt.Client)
	connected func(bool)
	log       *slog.Logger
	acks      *acks       // of what is acknowledged later
	stays     atomic.Bool // no goodbye
	quits     atomic.Bool // nobody comes back to this session
	// adrift says that our online may stand on the broker with no will of ours
	// behind it: nobody but us would ever take it back.
	adrift atomic.Bool
	ousted int // how often in a row the broker ended it soon
	// dropped are filters that the broker may still have in this session and
	// nobody asks for any more.
	dropped []string
}

// run connects, serves and connects again until ctx ends.
func (s *session) run(ctx context.Context) {
	var beside sync.WaitGroup
	defer beside.Wait()
	if s.acks != nil {
		beside.Go(func() { s.acks.run(ctx) })
	}
	backoff := firstBackoff
	for ctx.Err() == nil {
		began := time.Now()
		if err := s.once(ctx); err != nil && ctx.Err() == nil {
			s.log.Warn("broker connection ended", "session", s.name, "broker", s.settings.redacted(), "error", err)
		}
		if time.Since(began) > steady {
			backoff = firstBackoff
		}
		// full jitter, so that many daemons do not come back in step
		pause := time.NewTimer(time.Duration(rand.Int64N(int64(backoff)) + int64(firstBackoff)/5))
		select {
		case <-ctx.Done():
			pause.Stop()
		case <-pause.C:
		}
		backoff = min(2*backoff, lastBackoff)
	}
}

// once makes one connection and serves it to its end.
func (s *session) once(ctx context.Context) error {
	lost := make(chan error, 1)
	options, err := s.options(lost)
	if err != nil {
		return err
	}
	client := mqtt.NewClient(options)
	if err := wait(ctx, client.Connect(), connectTimeout+writeTimeout); err != nil {
		s.ousted = 0 // the broker is away, or says why
		client.Disconnect(0)
		return fmt.Errorf("connect: %w", err)
	}
	s.adrift.Store(false) // the broker has our will
	defer client.Disconnect(250)
	defer s.leave(ctx, client)
	if err := s.subscribe(ctx, client, s.filters); err != nil {
		return err
	}
	if len(s.dropped) > 0 {
		if err := wait(ctx, client.Unsubscribe(s.dropped...), connectTimeout); err != nil {
			return fmt.Errorf("unsubscribe: %w", err)
		}
		s.dropped = nil
	}
	s.log.Info("broker connected", "session", s.name, "broker", s.settings.redacted())
	began := time.Now()
	s.connected(true)
	defer s.connected(false)

	serving, stop := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		if s.up != nil {
			s.up(serving, client)
		}
	}()
	var ended error
	select {
	case <-ctx.Done():
	case ended = <-lost:
		s.sayRival(time.Since(began), ended)
	}
	stop()
	<-done
	return ended
}

// sayRival says what may be behind it that the broker ends this session again and
// again soon after its start. A broker gives a client id to whoever came last, and
// tells the other nothing but the end (MQTT 3.1.1, 3.1.4-2).
func (s *session) sayRival(lasted time.Duration, err error) {
	const often = 3 // in a row (common practice, no source)
	if lasted >= steady || !errors.Is(err, io.EOF) && !errors.Is(err, syscall.ECONNRESET) {
		s.ousted = 0
		return
	}
	if s.ousted++; s.ousted%often == 0 {
		s.log.Warn("the broker ends this session again and again: another client seems to use its client id; expected one client an id; set RHIZOSTAT_CLIENT_ID to a name that no other has",
			"session", s.name, "client_id", s.clientID, "times", s.ousted)
	}
}

// leave says goodbye where the connection is still open: an orderly end takes
// the will back, so we say it ourselves. That holds before the first
// subscription too, when an earlier connection of ours has said online.
func (s *session) leave(ctx context.Context, client mqtt.Client) {
	if !client.IsConnectionOpen() {
		return
	}
	if s.stays.Load() {
		s.adrift.Store(true)
		return
	}
	if s.quits.Load() { // else the broker keeps messages for it for ever
		if err := wait(context.Background(), client.Unsubscribe(s.filters...), farewell); err != nil {
			s.log.Warn("the broker may keep messages that nobody fetches", "session", s.name, "error", err)
		}
	}
	if s.will == nil {
		return
	}
	word := s.will.payload
	if ctx.Err() != nil {
		word = s.will.goodbye // else we are about to try again
	}
	token := client.Publish(s.will.topic, 1, true, word)
	if err := wait(context.Background(), token, farewell); err != nil {
		s.adrift.Store(true)
		s.log.Warn("offline was not said", "session", s.name, "error", err)
	}
}

// subscribe asks for the filters and checks that each was granted: a broker
// may answer 0x80 for one of them without an error.
func (s *session) subscribe(ctx context.Context, client mqtt.Client, filters []string) error {
	const (
		chunk = 64 // filters in a packet
		// most is more than a broker has unacknowledged with one client at a time: each
		// try takes the next number. Decisions are acknowledged once we are subscribed,
		// so waiting would not free theirs.
		most = 1 << 14
	)
	for len(filters) > 0 {
		n := min(chunk, len(filters))
		wanted := make(map[string]byte, n)
		for _, f := range filters[:n] {
			wanted[f] = 1
			if s.will != nil && f == s.will.topic {
				wanted[f] = 0 // what others said while we were away is no sign of life
			}
		}
		filters = filters[n:]
		for tries := 1; ; tries++ {
			again, err := s.ask(ctx, client, wanted)
			if err == nil {
				break
			}
			if !again || tries == most {
				return err
			}
		}
	}
	return nil
}

// ask subscribes with one packet; again says that the next one may fare better.
func (s *session) ask(ctx context.Context, client mqtt.Client, wanted map[string]byte) (again bool, err error) {
	const numberInUse = 0x91 // of MQTT 5: there is a broker that takes its own packets' numbers for ours
	// no callbacks: the library's routes are a list that it searches for
	// every message
	token := client.SubscribeMultiple(wanted, nil)
	if err := wait(ctx, token, connectTimeout); err != nil {
		return false, fmt.Errorf("subscribe: %w", err)
	}
	t, ok := token.(*mqtt.SubscribeToken)
	if !ok {
		return false, nil
	}
	for filter, code := range t.Result() {
		switch {
		case code == numberInUse:
			return true, fmt.Errorf("subscribe %s: the broker has the packet's number in use; expected it free; trying the next", filter)
		case code > 2:
			return false, fmt.Errorf("subscribe %s: the broker refused it; expected read access; extend the broker's access list", filter)
		}
	}
	return false, nil
}

// answered asks the broker for something that changes nothing and waits for its answer.
// MQTT has no word for the last of the retained messages. A broker that works off a
// connection's packets in their order (common practice, no source) has sent them, or as
// many of them as it sends before they are acknowledged, once it answers a later one: on
// a busy machine a silence alone may be a broker, or we, that had no turn.
func (s *session) answered(ctx context.Context, client mqtt.Client) error {
	const filter = "rhizostat/nobody/subscribes/to/this"
	if err := wait(ctx, client.Unsubscribe(filter), connectTimeout); err != nil {
		return fmt.Errorf("retained messages: %w", err)
	}
	return nil
}

func (s *session) options(lost chan<- error) (*mqtt.ClientOptions, error) {
	password, err := s.settings.password()
	if err != nil {
		return nil, err
	}
	o := mqtt.NewClientOptions().AddBroker(s.settings.Broker).SetClientID(s.clientID).
		SetProtocolVersion(4).                          // a refused connection would be tried again as MQTT 3.1
		SetCleanSession(false).                         // decisions made while we are away wait for us
		SetAutoReconnect(false).SetConnectRetry(false). // our own loop: the library's has no jitter and grows to 10 min
		SetStore(noStore{}).                            // its stores resend old publishes over fresh ones
		SetOrderMatters(true).
		SetAutoAckDisabled(true). // a decision is acknowledged after the ledger has it
		SetKeepAlive(keepAlive).SetPingTimeout(pingTimeout).
		SetConnectTimeout(connectTimeout).SetWriteTimeout(writeTimeout).
		SetCustomOpenConnectionFn(s.settings.dial(s.hold)).
		SetCredentialsProvider(func() (string, string) { return s.settings.Username, password }).
		SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) { s.handle(m) }).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) {
			select {
			case lost <- err:
			default: // the first reason is enough
			}
		})
	if s.will != nil {
		o.SetBinaryWill(s.will.topic, s.will.payload, 1, true)
	}
	return o, nil
}

// wait waits for a token, a context or a time, whichever is first: a token of
// a lost connection may never end.
func wait(ctx context.Context, token mqtt.Token, limit time.Duration) error {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case <-token.Done():
		return token.Error()
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return fmt.Errorf("no answer from the broker in %s", limit)
	}
}
