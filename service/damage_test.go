package service

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// damages is how many ledgers are damaged, and the seed of how, the same each time: what
// is found is found by whoever looks for it. RHIZOSTAT_DAMAGES takes another number, and
// damages that nobody has tried.
func damages(t *testing.T) (n int, seed uint64) {
	t.Helper()
	text := os.Getenv("RHIZOSTAT_DAMAGES")
	switch {
	case text == "" && testing.Short():
		return 20, 1
	case text == "":
		return 150, 1
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n, uint64(time.Now().UnixNano())
}

// A ledger that a disk has damaged, anywhere and in whatever way: either the daemon says
// so and serves nothing, or every setpoint it publishes is one that was approved, byte
// for byte. It never ends without a sentence.
func TestADamagedLedger(t *testing.T) {
	const zones = 6
	folder := t.TempDir()
	path := filepath.Join(folder, "whole.db")
	approved := decided(t, path, zones)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	n, seed := damages(t)
	t.Logf("seed %d, %d bytes", seed, len(whole))
	outcomes := map[string]int{}
	for i := range n {
		random := rand.New(rand.NewPCG(seed, uint64(i)))
		data, how := damaged(random, whole)
		path := filepath.Join(folder, fmt.Sprintf("%d.db", i))
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		outcome, wrong := servedFrom(t, path, zones, approved)
		if wrong != "" {
			t.Errorf("damage %d (%s): %s", i, how, wrong)
		}
		outcomes[outcome]++
		for _, end := range []string{"", "-wal", "-shm"} {
			os.Remove(path + end) // to save room; the folder goes in any case
		}
	}
	t.Logf("%v", outcomes)
	if outcomes["served"] == 0 || outcomes["refused"] == 0 {
		t.Error("not both ways were tried")
	}
}

// decided makes a ledger with zones of each kind: approved, withdrawn, rejected,
// pending. It gives the setpoint of each approved one.
func decided(t *testing.T, path string, zones int) map[string][]byte {
	t.Helper()
	l, err := ledger.Open(t.Context(), path, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	s := newStillOf(t, siteOf("north", zones), "telemetry", l)
	s.house.telemetry = func(zone int, r shard.Telemetry) { s.lots[0].shard.Telemetry(s.places[zone].index, r) }
	s.house.control = func(zone int, c shard.Control) { s.lots[0].shard.Control(s.places[zone].index, c) }
	for after := time.Duration(0); after <= 40*time.Minute; after += 5 * time.Minute {
		for i := range zones {
			for p := 1; p <= 2; p++ {
				s.receive(fmt.Sprintf("rhizostat/north/%s/telemetry/p%d", bench(i), p), reading(i, p, after), morning.Add(after))
			}
		}
	}
	s.lots[0].shard.DrainAll()
	s.lots[0].flush()
	for i := range zones {
		a := s.workers[i].desk.Standing()
		if a == nil {
			t.Fatalf("%s has no advice", bench(i))
		}
		for _, verdict := range [][]wire.Verdict{{wire.Approve}, {wire.Approve, wire.Withdraw}, {wire.Reject}, nil}[i%4] {
			d := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: verdict, By: "a person"}
			payload, err := d.Marshal()
			if err != nil {
				t.Fatal(err)
			}
			s.person(s.topics[0].Decision(bench(i)), payload, s.workers[i].now, nil)
			s.lots[0].flush()
		}
	}
	approved := map[string][]byte{}
	for _, w := range s.workers {
		for topic, payload := range setpoints(s, w) {
			approved[topic] = payload
		}
	}
	if err := s.close(); err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if len(approved) != (zones+3)/4 {
		t.Fatalf("%d zones have setpoints", len(approved))
	}
	return approved
}

// setpoints is what a zone tells a new connection on its setpoint topic.
func setpoints(s *still, w *worker) map[string][]byte {
	s.published = nil
	s.house.control(w.zone, shard.Control{Kind: shard.Resync, Time: w.now})
	s.lots[0].flush()
	out := map[string][]byte{}
	for _, m := range s.published {
		if strings.HasSuffix(m.Topic, "/setpoint") && len(m.Payload) > 0 {
			out[m.Topic] = m.Payload
		}
	}
	return out
}

// damaged gives a copy that a disk has damaged, and how: bits, bytes, a page of zeros, of
// another page or of noise, a missing end.
func damaged(random *rand.Rand, whole []byte) ([]byte, string) {
	const page = 4096
	data := bytes.Clone(whole)
	pageAt := func() int { return page * random.IntN(len(data)/page) }
	switch random.IntN(6) {
	case 0:
		n := 1 + random.IntN(4)
		for range n {
			data[random.IntN(len(data))] ^= 1 << random.IntN(8)
		}
		return data, fmt.Sprint(n, " bits")
	case 1: // where there is something, and that is letters and digits
		n, found := 1+random.IntN(8), 0
		for found < n {
			if i := random.IntN(len(data)); data[i] >= '0' && data[i] <= 'z' {
				data[i] = byte('0' + random.IntN(10))
				found++
			}
		}
		return data, fmt.Sprint(n, " letters or digits")
	case 2:
		at := pageAt()
		clear(data[at : at+page])
		return data, fmt.Sprint("zeros at ", at)
	case 3:
		to, from := pageAt(), pageAt()
		copy(data[to:to+page], whole[from:from+page])
		return data, fmt.Sprint("page ", from, " at ", to)
	case 4:
		at, n := pageAt(), 1+random.IntN(page)
		for i := range n {
			data[at+i] = byte(random.Uint32())
		}
		return data, fmt.Sprint(n, " bytes of noise at ", at)
	}
	n := random.IntN(len(data))
	return data[:n], fmt.Sprint("cut to ", n)
}

// servedFrom starts on a ledger and says what came of it; wrong is what must not be.
func servedFrom(t *testing.T, path string, zones int, approved map[string][]byte) (outcome, wrong string) {
	t.Helper()
	defer func() {
		if fault := recover(); fault != nil {
			outcome, wrong = "panicked", fmt.Sprint(fault)
		}
	}()
	l, err := ledger.Open(t.Context(), path, ledger.Options{})
	if err != nil {
		return "refused", notASentence(err)
	}
	defer l.Close() // of a damaged file it may fail
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	settings := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, siteOf("north", zones)), Clock: "telemetry", StateEvery: time.Minute}
	sites, err := loadSites(settings.Sites, log)
	if err != nil {
		t.Fatal(err)
	}
	s := new(still)
	if s.house, err = newHouse(t.Context(), settings, sites, l, newMetrics("test"), 1, log); err != nil {
		return "refused", notASentence(err)
	}
	s.publish = func(_ int, m wire.Message, _ time.Time) { s.published = append(s.published, m) }
	s.house.telemetry = func(zone int, r shard.Telemetry) { s.lots[0].shard.Telemetry(s.places[zone].index, r) }
	s.house.control = func(zone int, c shard.Control) { s.lots[0].shard.Control(s.places[zone].index, c) }
	for _, w := range s.workers {
		for topic, payload := range setpoints(s, w) {
			if !bytes.Equal(payload, approved[topic]) {
				return "served", fmt.Sprintf("%s has %s, approved was %s", topic, payload, approved[topic])
			}
		}
	}
	for i := range zones { // and goes on
		s.receive(fmt.Sprintf("rhizostat/north/%s/telemetry/p1", bench(i)), reading(i, 1, 45*time.Minute), morning.Add(45*time.Minute))
	}
	s.lots[0].shard.DrainAll()
	s.lots[0].flush()
	return "served", ""
}

// notASentence tells what an error lacks: which ledger, what of it, and what to do.
func notASentence(err error) string {
	text := err.Error()
	for _, does := range []string{"put the last copy", "from a copy", "name another path", "it was made by a newer", "is not a ledger"} {
		if strings.Contains(text, does) && strings.Contains(text, "ledger") && !strings.Contains(text, "\n") {
			return ""
		}
	}
	return "no sentence: " + text
}
