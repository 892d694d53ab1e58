package service

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"rhizostat/service/wire"
)

// siteOf is the file of an invented site with so many equal zones, bench-0 and
// so on.
func siteOf(name string, zones int) string {
	var b strings.Builder
	fmt.Fprintf(&b, `site: %s
time_zone: UTC
substrates:
  coir-mix: {total_porosity: 0.92, retention: {theta_r: 0.08, theta_s: 0.90, alpha_per_kpa: 1.6, n: 1.75}}
containers:
  pot-7l: {height_cm: 20, top_diameter_cm: 24, bottom_diameter_cm: 18, wall: solid}
zones:
`, name)
	for i := range zones {
		fmt.Fprintf(&b, `  bench-%d:
    substrate: coir-mix
    container: pot-7l
    emitters: {per_container: 1, flow_l_per_h: 2.0}
    day: {start: "06:00", end: "18:00"}
    probes: {p1: {height_cm: 7}, p2: {height_cm: 7}}
    limits: {max_shot_ml: 300, max_daily_ml: 3000, min_interval_min: 15}
`, i)
	}
	return b.String()
}

func bench(i int) string { return fmt.Sprintf("bench-%d", i) }

// writeSite puts a site file into a folder of the test.
func writeSite(t testing.TB, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "site.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// morning is when the invented sites begin.
var morning = time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC)

// reading is what probe p of zone i says so long after morning: pots that the
// crop slowly drinks from.
func reading(i, p int, after time.Duration) []byte {
	minutes := after.Minutes()
	w := 0.555 - 0.0002*minutes - 0.0007*float64(i%7) + 0.002*float64(p) + 0.0008*math.Sin(minutes*float64(3+p)+float64(i))
	return fmt.Appendf(nil, `{"time":%q,"water_content":%.4f,"bulk_ec":1.1,"substrate_temperature":19.5}`,
		morning.Add(after).Format(time.RFC3339), w)
}

// tell publishes the readings of all zones from one time after morning to
// another, one every five minutes.
func tell(t *testing.T, b *broker, site string, zones int, from, to time.Duration) {
	t.Helper()
	topics := wire.Topics{Root: "rhizostat", Site: site}
	for after := from; after <= to; after += 5 * time.Minute {
		for i := range zones {
			for p := range 2 {
				if err := b.Publish(topics.Telemetry(bench(i), fmt.Sprintf("p%d", p+1)), reading(i, p, after), false); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}

// board notes all that is published under a site.
type board struct {
	mu     sync.Mutex
	newest map[string][]byte // by topic
	seen   map[string]int    // messages by topic
	all    []wire.Message    // of results and setpoints, in order
}

func watch(t *testing.T, b *broker, filter string) *board {
	t.Helper()
	w := &board{newest: map[string][]byte{}, seen: map[string]int{}}
	err := b.Subscribe(filter, func(topic string, payload []byte) {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.newest[topic] = append([]byte(nil), payload...)
		w.seen[topic]++
		if strings.HasSuffix(topic, "/decision/result") || strings.HasSuffix(topic, "/setpoint") {
			w.all = append(w.all, wire.Message{Topic: topic, Payload: w.newest[topic]})
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// get is the newest payload on a topic.
func (w *board) get(topic string) []byte {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.newest[topic]
}

func (w *board) count(topic string) int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.seen[topic]
}

// history is all results and setpoints so far.
func (w *board) history() []wire.Message {
	w.mu.Lock()
	defer w.mu.Unlock()
	return append([]wire.Message(nil), w.all...)
}

// advice is the standing advice of a zone, nil before the first.
func (w *board) advice(t *testing.T, topics wire.Topics, zone string) *wire.Advice {
	t.Helper()
	payload := w.get(topics.Advice(zone))
	if len(payload) == 0 {
		return nil
	}
	a, err := wire.ParseAdvice(payload)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// eventually waits until a condition holds; limit is how long that may take on a machine
// that has nothing else to do, what says what was waited for.
func eventually(t testing.TB, limit time.Duration, what func() string, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(patience * limit); !holds(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("after %s still: %s", patience*limit, what())
		}
	}
}

func text(s string) func() string { return func() string { return s } }

// decide publishes a person's decision.
func decide(t *testing.T, b *broker, topics wire.Topics, a *wire.Advice, verdict wire.Verdict, by string) {
	t.Helper()
	d := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: verdict, By: by}
	payload, err := d.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Publish(topics.Decision(a.Zone), payload, false); err != nil {
		t.Fatal(err)
	}
}

// advise tells a running daemon enough for an advice of every zone, once it says that it
// is online: of a tale that it hears from the middle on no advice comes, and told again
// the beginning is late.
func advise(t *testing.T, b *broker, w *board, topics wire.Topics, zones int) {
	t.Helper()
	advised := func() bool {
		for i := range zones {
			if w.advice(t, topics, bench(i)) == nil {
				return false
			}
		}
		return true
	}
	eventually(t, 20*time.Second, text("the daemon is not online"), func() bool {
		s, err := wire.ParseStatus(w.get(topics.Status()))
		return err == nil && s.Status == wire.Online
	})
	for range patience {
		tell(t, b, topics.Site, zones, 0, 40*time.Minute)
		for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
			if advised() {
				return
			}
		}
	}
	t.Fatal("not every zone has an advice")
}
