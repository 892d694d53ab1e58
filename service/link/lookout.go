package link

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// visit connects for a while beside the sessions and notes what is said on
// status topics. What the broker has retained there is on its way once it returns.
func (l *Link) visit(ctx context.Context, topics []string, seen *lookOut, lost chan<- error) (mqtt.Client, error) {
	watch := &session{
		settings: l.settings, name: "look-out", clientID: l.settings.ClientID + "-look-out-" + strings.ToLower(rand.Text()[:8]), // of two that wait, neither kicks out the other
		log: l.log, connected: func(bool) {},
		handle: func(m mqtt.Message) {
			seen.note(m.Topic(), m.Payload(), m.Retained(), time.Now())
			m.Ack()
		},
	}
	options, err := watch.options(lost)
	if err != nil {
		return nil, err
	}
	options.SetCleanSession(true)
	client := mqtt.NewClient(options)
	if err := wait(ctx, client.Connect(), connectTimeout+writeTimeout); err != nil {
		client.Disconnect(0)
		return nil, fmt.Errorf("broker %s: %w; is it running and does it know this user", l.settings.redacted(), err)
	}
	err = watch.subscribe(ctx, client, topics)
	if err == nil {
		err = watch.answered(ctx, client)
	}
	if err != nil {
		client.Disconnect(100)
		return nil, err
	}
	return client, nil
}

// sighting is the newest status of a site.
type sighting struct {
	payload []byte
	claim   Claim
	alive   bool      // it was said while we looked; else the broker had kept it
	at      time.Time // when it came
}

// taken reports whether somebody else is behind it at a time; patient says to
// leave time to come back to one whose connection broke.
func (s sighting) taken(now time.Time, patient bool) bool {
	limit := patience
	if patient {
		limit = absence
	}
	switch {
	case s.claim.Own, now.Sub(s.at) >= limit:
		return false
	case s.claim.Online:
		return s.alive || !s.claim.Former
	}
	// who starts a second daemon by hand knows that the first has gone
	return patient && s.claim.Lost && !s.claim.Former
}

// lookOut keeps the newest status of each site. A queue would fill up with the
// retained ones of many sites, and what it had no room for nobody would see.
type lookOut struct {
	claim   func(payload []byte) Claim
	patient bool // with one whose connection broke

	mu     sync.Mutex
	newest map[string]sighting // by topic
}

func (o *lookOut) note(topic string, payload []byte, retained bool, now time.Time) {
	s := sighting{payload: append([]byte(nil), payload...), alive: !retained, at: now}
	if len(payload) > 0 { // else the topic was cleared
		s.claim = o.claim(payload)
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.newest == nil {
		o.newest = map[string]sighting{}
	}
	if _, ok := o.newest[topic]; ok && s.claim.Own {
		return // our own last word, or will, has come over another's; that one may be there all the same
	}
	o.newest[topic] = s
}

// expect has the look-out wait for those that we gave way to.
func (o *lookOut) expect(others map[string]sighting, now time.Time) {
	if len(others) == 0 {
		return
	}
	o.newest, o.patient = others, true
	for topic, s := range others {
		s.at = now
		o.newest[topic] = s
	}
}

// taken are the sites that another daemon serves, in the order of the sites;
// alive reports whether one of them has shown a sign of life.
func (o *lookOut) taken(sites []Site, now time.Time) (taken []Other, alive bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for i := range sites {
		s := o.newest[sites[i].Status]
		switch {
		case !s.taken(now, o.patient):
		case s.alive && s.claim.Online && !alive:
			taken, alive = append([]Other{{sites[i].Status, s.payload}}, taken...), true
		default:
			taken = append(taken, Other{sites[i].Status, s.payload})
		}
	}
	return taken, alive
}

// claimOn is what the newest status of a topic comes to, nothing where there is none.
func (o *lookOut) claimOn(topic string) Claim {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.newest[topic].claim
}

// payloads are the newest statuses by topic.
func (o *lookOut) payloads() map[string]string {
	o.mu.Lock()
	defer o.mu.Unlock()
	out := map[string]string{}
	for topic, s := range o.newest {
		out[topic] = string(s.payload)
	}
	return out
}

// await gives the newest status of a topic that has a retained one.
func (o *lookOut) await(ctx context.Context, topic string) (sighting, error) {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for {
		o.mu.Lock()
		s, ok := o.newest[topic]
		o.mu.Unlock()
		if ok {
			return s, nil
		}
		select {
		case <-ctx.Done():
			return s, ctx.Err()
		case <-tick.C:
		}
	}
}
