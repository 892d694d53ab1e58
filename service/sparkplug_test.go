package service

import (
	"bytes"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"rhizostat/service/internal/edgenode"
	"rhizostat/service/wire"
)

// plc9 is an edge node on a real broker, with the probes of a zone and a device that
// takes its setpoints.
type plc9 struct {
	t *testing.T
	m *mosquitto

	mu         sync.Mutex
	client     mqtt.Client
	connection uint64 // bdSeq
	seq        int
	rebirths   int
	commands   []map[string]string
}

// connect connects with a will that says its death, and is born.
func (e *plc9) connect() {
	e.t.Helper()
	e.mu.Lock() // it may still be asked on the connection of before
	e.connection++
	death := edgenode.Payload{Timestamp: 1, Seq: -1, Metrics: []edgenode.Metric{{Name: "bdSeq", Type: 4, Value: e.connection}}}
	e.mu.Unlock()
	o := mqtt.NewClientOptions().AddBroker("tcp://"+e.m.address()).SetClientID("plc9").SetUsername("controller").SetPassword("secret of controller").
		SetAutoReconnect(false).SetBinaryWill("spBv1.0/farm/NDEATH/plc9", death.Encode(), 1, false)
	client := mqtt.NewClient(o)
	e.done(client.Connect())
	e.mu.Lock()
	e.client = client
	e.mu.Unlock()
	e.done(client.Subscribe("spBv1.0/farm/NCMD/plc9", 1, func(_ mqtt.Client, m mqtt.Message) {
		p, err := wire.ParseSparkplug(m.Payload())
		if err != nil {
			e.t.Error(err)
			return
		}
		for metric := range p.Metrics {
			if string(metric.Name) == "Node Control/Rebirth" && metric.Bits == 1 {
				e.mu.Lock()
				e.rebirths++
				e.mu.Unlock()
				go e.born() // the library's handler must not wait
			}
		}
	}))
	e.done(client.Subscribe("spBv1.0/farm/DCMD/plc9/+", 1, func(_ mqtt.Client, m mqtt.Message) {
		if m.Qos() != 0 || m.Retained() {
			e.t.Errorf("a command at QoS %d, retained %v", m.Qos(), m.Retained())
		}
		e.mu.Lock()
		defer e.mu.Unlock()
		e.commands = append(e.commands, told(e.t, m.Payload()))
	}))
	e.born()
}

func (e *plc9) done(token mqtt.Token) {
	e.t.Helper()
	if !token.WaitTimeout(time.Minute) {
		e.t.Error("no answer from the broker")
	} else if err := token.Error(); err != nil {
		e.t.Error(err)
	}
}

// send sends a message with the next sequence number.
func (e *plc9) send(message, device string, p edgenode.Payload) {
	p.Seq = e.seq
	e.seq = (e.seq + 1) % 256
	topic := wire.SparkplugTopic{Group: "farm", Message: wire.SparkplugMessage(message), EdgeNode: "plc9", Device: device}.String()
	e.client.Publish(topic, 0, false, p.Encode())
}

// born sends both birth certificates.
func (e *plc9) born() {
	e.mu.Lock()
	defer e.mu.Unlock()
	at := uint64(morning.UnixMilli())
	e.seq = 0
	e.send("NBIRTH", "", edgenode.Payload{Timestamp: at, Metrics: []edgenode.Metric{
		{Name: "bdSeq", Timestamp: at, Type: 4, Value: e.connection}, {Name: "Node Control/Rebirth", Timestamp: at, Type: 11, Value: false},
		{Name: "bench-0/p1/vwc", Alias: 1, Timestamp: at, Type: 9, Null: true}, {Name: "bench-0/p2/vwc", Alias: 2, Timestamp: at, Type: 9, Null: true},
	}})
	e.send("DBIRTH", "valves", edgenode.Payload{Timestamp: at, Metrics: []edgenode.Metric{{Name: "bench-0/shot_ml", Alias: 3, Timestamp: at, Type: 9, Null: true}}})
}

// tell sends readings by alias.
func (e *plc9) tell(from, to time.Duration) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for after := from; after <= to; after += 5 * time.Minute {
		at, minutes := uint64(morning.Add(after).UnixMilli()), after.Minutes()
		e.send("NDATA", "", edgenode.Payload{Timestamp: at, Metrics: []edgenode.Metric{
			{Alias: 1, Timestamp: at, Value: float32(55.5 - 0.02*minutes + 0.08*math.Sin(3*minutes))}, {Alias: 2, Timestamp: at, Value: float32(55.7 - 0.02*minutes + 0.08*math.Sin(4*minutes))},
		}})
	}
}

// last is the newest command.
func (e *plc9) last() map[string]string {
	e.mu.Lock()
	defer e.mu.Unlock()
	if len(e.commands) == 0 {
		return nil
	}
	return e.commands[len(e.commands)-1]
}

func (e *plc9) wants(what string, want map[string]string) {
	e.t.Helper()
	eventually(e.t, 20*time.Second, func() string { return fmt.Sprintf("%s, and it was told %v, want %v", what, e.last(), want) }, func() bool { return same(e.last(), want) })
}

// forget drops the commands so far.
func (e *plc9) forget() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.commands = nil
}

// recordBinary is how the README says to record binary payloads.
const recordBinary = `{"tst":"%I","topic":"%t","qos":%q,"retain":%r,"payloadlen":%l,"payload":"%x"}`

// record records the first message that comes on a topic from now on.
func (m *mosquitto) record(t *testing.T, topic string) func() []byte {
	t.Helper()
	if readme, err := os.ReadFile("../README.md"); err != nil || !bytes.Contains(readme, []byte("-F '"+recordBinary+"'")) {
		t.Errorf("the README does not say -F '%s' (%v)", recordBinary, err)
	}
	var out bytes.Buffer
	c := exec.Command("mosquitto_sub", m.as("rhizostat", "-t", topic, "-C", "1", "-W", "300", "-F", recordBinary)...)
	c.Stdout = &out
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	eventually(t, 10*time.Second, text("the recorder has not subscribed"), func() bool { return strings.Contains(m.log.String(), topic) })
	return func() []byte {
		t.Helper()
		if err := c.Wait(); err != nil {
			t.Errorf("mosquitto_sub: %v", err)
		}
		return out.Bytes()
	}
}

// An edge node's whole way on a real broker with the access list we ship: it was born
// before the daemon came and is asked to be born again, its readings become a state and
// an advice, a person approves and its device is told, also after it was cut off and
// born anew; withdrawn, it is told null.
func TestAnEdgeNodeOnMosquitto(t *testing.T) {
	t.Parallel()
	m := newMosquitto(t, func(acl string) string { return acl })
	e := &plc9{t: t, m: m, connection: 6}
	recorded := m.record(t, "spBv1.0/farm/NBIRTH/plc9")
	e.connect()
	daemon := m.daemon(t, writeSite(t, sparkplugSite(1)))
	eventually(t, 15*time.Second, text("not online"), func() bool { return m.isOnline(t) })
	eventually(t, 10*time.Second, text("nobody asks for the births that were missed"), func() bool {
		e.mu.Lock()
		defer e.mu.Unlock()
		return e.rebirths > 0
	})
	e.wants("nothing is in force", nothing)
	rec, err := parseRecorded(bytes.TrimSpace(recorded()))
	if err != nil {
		t.Fatal(err)
	}
	if p, err := wire.ParseSparkplug(rec.Payload); err != nil || p.Count != 4 || rec.Stamp.IsZero() {
		t.Errorf("recorded as the README says: %s: %+v, %v", rec.Raw, p, err)
	}

	var a *wire.Advice
	for range patience {
		e.tell(0, 40*time.Minute)
		for range 3 {
			if a = m.standing(t, "grower"); a != nil {
				break
			}
		}
		if a != nil {
			break
		}
	}
	if a == nil {
		t.Fatal("no advice came of an edge node's readings")
	}
	var payload []byte
	eventually(t, 10*time.Second, text("no state stands"), func() bool {
		payload = m.retained(t, "controller", "rhizostat/north/bench-0/state")
		return len(payload) > 0
	})
	state, err := wire.ParseState(payload)
	if err != nil || state.WaterContent == nil || math.Abs(*state.WaterContent-0.5) > 0.1 {
		t.Errorf("the state is %+v (%v)", state, err)
	}

	e.forget()
	if out, err := m.decide(t, wire.Approve, time.Minute); err != nil {
		t.Fatalf("approve: %v\n%s", err, out)
	}
	want := maps.Clone(wanted(a))
	want["bench-0/shot_ml"] += " Float" // as its birth declares
	e.wants("approved", want)

	e.forget()
	e.connect()                            // under its name, so that the broker ends the connection before and says its will
	e.tell(45*time.Minute, 45*time.Minute) // the clock is the telemetry's
	e.wants("born anew", want)

	if out, err := m.decide(t, wire.Withdraw, time.Minute); err != nil {
		t.Fatalf("withdraw: %v\n%s", err, out)
	}
	e.wants("withdrawn", nothing)
	e.client.Disconnect(100)
	daemon.end(t, os.Interrupt)
}
