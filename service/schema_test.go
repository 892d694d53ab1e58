package service

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"rhizostat/service/demo"
	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// schemas are those that we publish, formats asserted.
func schemas(t *testing.T) map[string]*jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	for _, name := range wire.SchemaNames() {
		text, err := wire.Schema(name)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			t.Fatal(name, err)
		}
		if err := c.AddResource(wire.SchemaBase+name+".json", doc); err != nil {
			t.Fatal(name, err)
		}
	}
	out := map[string]*jsonschema.Schema{}
	for _, name := range wire.SchemaNames() {
		s, err := c.Compile(wire.SchemaBase + name + ".json")
		if err != nil {
			t.Fatal(name, err)
		}
		out[name] = s
	}
	return out
}

// running is a demo in this process and what it says.
type running struct {
	out   *locked
	ended chan error
}

// startDemo plays the demo on free ports until ctx ends or its time is over.
func startDemo(ctx context.Context, o demo.Options) *running {
	r := &running{out: new(locked)}
	r.start(ctx, o, r.out)
	return r
}

func (r *running) start(ctx context.Context, o demo.Options, out io.Writer) {
	r.ended = make(chan error, 1)
	o.Root, o.Seed = "rhizostat", 1
	go func() {
		r.ended <- Demo(ctx, DemoOptions{
			Options: o, Broker: "127.0.0.1:0", HTTP: "127.0.0.1:0", Out: out, Version: "test", Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		})
	}()
}

// gate lets what was written be read, and whoever wrote it go on only once it is opened.
type gate struct {
	io.Writer
	opened <-chan struct{}
}

func (g gate) Write(p []byte) (int, error) {
	n, err := g.Writer.Write(p)
	<-g.opened
	return n, err
}

var (
	brokerSaid  = regexp.MustCompile(`--broker tcp://(\S+)`)
	metricsSaid = regexp.MustCompile(`http://(\S+)/metrics`)
)

// said waits until the demo has told an address, as it tells people.
func (r *running) said(t *testing.T, what *regexp.Regexp) string {
	t.Helper()
	var found []string
	eventually(t, 20*time.Second, func() string { return "the demo has not said " + what.String() + ": " + r.out.String() }, func() bool {
		found = what.FindStringSubmatch(r.out.String())
		return found != nil
	})
	return found[1]
}

// Every message that a demo publishes keeps to its schema: what the daemon says,
// what the devices say, and what the person says.
func TestPublishedMessagesKeepToTheirSchemas(t *testing.T) {
	notUnderRace(t)
	all := schemas(t)
	ctx, stop := context.WithTimeout(t.Context(), patience*time.Minute)
	defer stop()
	listens := make(chan struct{})
	listen := sync.OnceFunc(func() { close(listens) })
	defer listen()
	r := &running{out: new(locked)}
	// it says where its broker is before it plays, and of what it plays nothing is missed
	r.start(ctx, demo.Options{For: 8 * time.Hour, Approve: true}, gate{r.out, listens})
	visit, err := link.Visit(ctx, link.Settings{Broker: "tcp://" + r.said(t, brokerSaid), ClientID: "schemas"}, "all")
	if err != nil {
		t.Fatal(err)
	}
	defer visit.Close()
	if err := visit.Subscribe(ctx, "rhizostat/#"); err != nil {
		t.Fatal(err)
	}
	listen()
	listening, enough := context.WithCancel(ctx)
	go func() {
		r.ended <- <-r.ended // stays to be read
		enough()
	}()
	seen := map[string]int{}
	_, err = visit.Await(listening, func(m link.Received) bool {
		seen[keeps(t, all, m)]++
		return false
	})
	if !errors.Is(err, context.Canceled) && !errors.Is(err, link.ErrEnded) { // the broker goes with the demo
		t.Error(err)
	}
	if err := <-r.ended; err != nil {
		t.Fatal(err)
	}
	for _, name := range wire.SchemaNames() {
		if seen[name] == 0 && name != "event" { // nobody does anything by hand in the demo
			t.Errorf("no %s was published", name)
		}
	}
	t.Log(seen)
}

// keeps holds a message against its schema and names that.
func keeps(t *testing.T, all map[string]*jsonschema.Schema, m link.Received) string {
	t.Helper()
	place, ok := wire.Parse("rhizostat", m.Topic)
	if !ok && strings.Contains(m.Topic, "/telemetry/") { // a climate is no zone, its topic looks alike
		t.Errorf("%s is no topic of ours", m.Topic)
	}
	name := wire.SchemaOf(place.Kind, place.Name)
	if len(m.Payload) == 0 {
		return "" // it clears the topic
	}
	s := all[name]
	if s == nil {
		t.Errorf("%s: there is no schema %q", m.Topic, name)
		return name
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(m.Payload))
	if err == nil {
		err = s.Validate(v)
	}
	if err != nil {
		t.Errorf("%s does not keep to %s: %v\n%s", m.Topic, name, err, m.Payload)
	}
	return name
}
