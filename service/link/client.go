package link

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Received is a message that a Client got.
type Received struct {
	Topic    string
	Payload  []byte
	Retained bool
}

// Client is a person's short visit to the broker: read what is retained, say
// something, wait for the answer.
type Client struct {
	session *session
	client  mqtt.Client
	lost    chan error // the connection ended by itself

	mu  sync.Mutex
	got []Received
	new chan struct{}
}

// Visit connects a client with a name of its own.
func Visit(ctx context.Context, settings Settings, name string) (*Client, error) {
	if err := settings.Validate(); err != nil {
		return nil, err
	}
	c := &Client{new: make(chan struct{}, 1)}
	c.session = &session{
		settings: settings, name: name, clientID: settings.ClientID + "-" + name,
		log: slog.New(slog.DiscardHandler), connected: func(bool) {}, handle: c.handle,
	}
	c.lost = make(chan error, 1)
	options, err := c.session.options(c.lost)
	if err != nil {
		return nil, err
	}
	options.SetCleanSession(true)
	c.client = mqtt.NewClient(options)
	if err := wait(ctx, c.client.Connect(), connectTimeout+writeTimeout); err != nil {
		c.client.Disconnect(0)
		return nil, fmt.Errorf("broker %s: %w; is it running, and does it know this user", settings.redacted(), err)
	}
	return c, nil
}

// Close ends the visit.
func (c *Client) Close() { c.client.Disconnect(100) }

func (c *Client) handle(m mqtt.Message) {
	c.mu.Lock()
	c.got = append(c.got, Received{m.Topic(), m.Payload(), m.Retained()})
	c.mu.Unlock()
	select {
	case c.new <- struct{}{}:
	default: // there is news already
	}
	m.Ack()
}

// Subscribe asks for filters; what comes is collected.
func (c *Client) Subscribe(ctx context.Context, filters ...string) error {
	return c.session.subscribe(ctx, c.client, filters)
}

// Retained gives what the broker has retained on the filters: it is all there
// once nothing more has come for a while, before and after the broker was asked whether
// it is there.
func (c *Client) Retained(ctx context.Context, filters ...string) ([]Received, error) {
	const quiet = 250 * time.Millisecond
	if err := c.Subscribe(ctx, filters...); err != nil {
		return nil, err
	}
	for asked := false; ; {
		timer := time.NewTimer(quiet)
		select {
		case <-ctx.Done():
			timer.Stop()
			return nil, ctx.Err()
		case err := <-c.lost:
			timer.Stop()
			return nil, c.ended(err)
		case <-c.new:
			timer.Stop()
			asked = false
			continue
		case <-timer.C:
		}
		if asked {
			return c.take(), nil
		}
		if err := c.session.answered(ctx, c.client); err != nil {
			if ctx.Err() == nil && !c.client.IsConnectionOpen() {
				return nil, c.broken(err)
			}
			return nil, err
		}
		asked = true
	}
}

// take gives what has come and forgets it.
func (c *Client) take() []Received {
	c.mu.Lock()
	defer c.mu.Unlock()
	got := c.got
	c.got = nil
	return got
}

// Publish publishes at QoS 1 and waits for the broker's acknowledgement.
func (c *Client) Publish(ctx context.Context, topic string, payload []byte) error {
	if err := wait(ctx, c.client.Publish(topic, 1, false, payload), connectTimeout); err != nil {
		return fmt.Errorf("publish to %s: %w", topic, err)
	}
	return nil
}

// Await gives the first message that match wants, or an error when ctx ends.
func (c *Client) Await(ctx context.Context, match func(Received) bool) (Received, error) {
	for {
		for _, r := range c.take() {
			if match(r) {
				return r, nil
			}
		}
		select {
		case <-ctx.Done():
			return Received{}, ctx.Err()
		case err := <-c.lost:
			for _, r := range c.take() {
				if match(r) {
					return r, nil
				}
			}
			return Received{}, c.ended(err)
		case <-c.new:
		}
	}
}

// ended is the error of a connection that ended before all had come: half of what the
// broker has is not to be taken for the whole.
func (c *Client) ended(err error) error {
	c.lost <- err // for whoever asks next
	return c.broken(err)
}

func (c *Client) broken(err error) error {
	return fmt.Errorf("broker %s: %w: %w; try again", c.session.settings.redacted(), ErrEnded, err)
}

// ErrEnded is in the error of a connection that ended by itself.
var ErrEnded = errors.New("the connection ended")
