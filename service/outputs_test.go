package service

import (
	"bytes"
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/internal/edgenode"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/site"
	"rhizostat/service/wire"
)

const (
	command1 = "spBv1.0/farm/DCMD/plc9/valves"
	request1 = "spBv1.0/farm/NCMD/plc9"
)

// sparkplugSite is a site whose probes and valves are an edge node's.
func sparkplugSite(zones int) string {
	return siteOf("north", zones) + `telemetry:
  - sparkplug: {group: farm, edge_node: plc9, metrics: {"{zone}/{probe}/vwc": {signal: water_content, unit: "%"}, "{zone}/{probe}/ec": {signal: bulk_ec}}}
setpoint_outputs:
  - sparkplug: {group: farm, edge_node: plc9, device: valves, metrics: {shot_volume_ml: "{zone}/shot_ml", run_time_s: "{zone}/run_s", valid_until: "{zone}/until"}}
`
}

// told reads a command: metric to what it says, "null" where it is null.
func told(t *testing.T, payload []byte) map[string]string {
	t.Helper()
	p, err := wire.ParseSparkplug(payload)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for m := range p.Metrics {
		switch {
		case m.Null:
			out[string(m.Name)] = "null"
		case m.Value == wire.DoubleValue:
			out[string(m.Name)] = fmt.Sprint(math.Float64frombits(m.Bits))
		case m.Value == wire.FloatValue:
			out[string(m.Name)] = fmt.Sprint(math.Float32frombits(uint32(m.Bits)), " Float")
		default:
			out[string(m.Name)] = fmt.Sprint(m.Bits)
		}
	}
	return out
}

// commands takes what was sent on a topic since it was asked last.
func (s *still) commands(t *testing.T, topic string) (out []map[string]string) {
	t.Helper()
	for _, m := range s.published {
		if m.Topic == topic {
			if m.Retain || m.QoS != 0 || m.Latest == "" {
				t.Errorf("a command is sent at QoS 0, not retained, and gives way to a newer one: %+v", m)
			}
			out = append(out, told(t, m.Payload))
		}
	}
	s.published = nil
	return out
}

// wanted is what an advice says as a command.
func wanted(a *wire.Advice) map[string]string {
	return map[string]string{"bench-0/shot_ml": fmt.Sprint(a.Setpoints.ShotVolumeML), "bench-0/run_s": fmt.Sprint(a.Setpoints.RunTimeS), "bench-0/until": fmt.Sprint(a.ValidUntil.UnixMilli())}
}

var nothing = map[string]string{"bench-0/shot_ml": "null", "bench-0/run_s": "null", "bench-0/until": "null"}

func same(a, b map[string]string) bool { return fmt.Sprint(a) == fmt.Sprint(b) }

func newSparkplugStill(t *testing.T, l *ledger.Ledger) *still {
	t.Helper()
	return newStillOf(t, sparkplugSite(1), "telemetry", l)
}

func inMemory(t *testing.T) *ledger.Ledger {
	t.Helper()
	l, err := ledger.Open(t.Context(), ledger.InMemory, ledger.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

// birth of the valves, at a time after morning.
func (s *still) birth(after time.Duration, types ...uint32) {
	p := edgenode.Payload{Timestamp: uint64(morning.Add(after).UnixMilli()), Seq: 1}
	for i, name := range []string{"bench-0/shot_ml", "bench-0/run_s", "bench-0/until"}[:len(types)] {
		p.Metrics = append(p.Metrics, edgenode.Metric{Name: name, Alias: uint64(i + 1), Type: types[i], Null: true})
	}
	s.receive("spBv1.0/farm/DBIRTH/plc9/valves", p.Encode(), morning.Add(after))
	s.lots[0].flush()
}

// Commands say what the desk lets out: nothing before a person approves, the setpoints
// then, null when they are withdrawn, and again at a connection and at a birth.
func TestCommandsSayWhatIsInForce(t *testing.T) {
	s := newSparkplugStill(t, inMemory(t))
	w := s.workers[0]
	s.tell(0, 40*time.Minute)
	a := w.desk.Standing()
	if a == nil || a.Setpoints == nil || a.Setpoints.ShotVolumeML == 0 {
		t.Fatalf("no advice with a shot: %+v", a)
	}
	if got := s.commands(t, command1); len(got) > 0 {
		t.Fatalf("nobody approved, and was told %v", got)
	}
	s.decide(t, a, wire.Approve)
	if got := s.commands(t, command1); len(got) > 0 {
		t.Errorf("the record has not got it yet, and was told %v", got)
	}
	s.lots[0].flush()
	if got := s.commands(t, command1); len(got) != 1 || !same(got[0], wanted(a)) {
		t.Errorf("approved, and was told %v, want %v", got, wanted(a))
	}
	s.tell(45*time.Minute, 45*time.Minute)
	if got := s.commands(t, command1); len(got) > 0 {
		t.Errorf("nothing changed, and was told %v", got)
	}

	resync := func() {
		s.control(0, shard.Control{Kind: shard.Resync, Time: w.now})
		s.lots[0].flush()
	}
	resync()
	if got := s.commands(t, command1); len(got) != 1 || !same(got[0], wanted(a)) {
		t.Errorf("a new connection, and was told %v, want %v", got, wanted(a))
	}
	s.tell(50*time.Minute, 50*time.Minute)
	s.birth(50*time.Minute, 9, 3, 4) // Float, Int32, Int64
	want := wanted(a)
	want["bench-0/shot_ml"] += " Float"
	if got := s.commands(t, command1); len(got) != 1 || !same(got[0], want) {
		t.Errorf("born, and was told %v, want %v", got, want)
	}

	s.decide(t, a, wire.Withdraw)
	s.lots[0].flush()
	if got := s.commands(t, command1); len(got) != 1 || !same(got[0], nothing) {
		t.Errorf("withdrawn, and was told %v, want %v", got, nothing)
	}
	resync()
	if got := s.commands(t, command1); len(got) != 1 || !same(got[0], nothing) {
		t.Errorf("a new connection with nothing in force, and was told %v, want %v", got, nothing)
	}
}

// An output that is born again and again is told again once it is calm, in the time of
// its zone.
func TestAnOutputThatIsBornAgainAndAgain(t *testing.T) {
	s := newSparkplugStill(t, inMemory(t))
	s.tell(0, 40*time.Minute)
	s.decide(t, s.workers[0].desk.Standing(), wire.Approve)
	s.lots[0].flush()
	s.tell(45*time.Minute, 45*time.Minute)
	s.published = nil
	for range 50 {
		s.birth(45*time.Minute, 10)
	}
	if got := s.commands(t, command1); len(got) != 1 {
		t.Errorf("born 50 times at one instant, it was told %d times, want once", len(got))
	}
	s.tell(50*time.Minute, 50*time.Minute)
	if got := s.commands(t, command1); len(got) != 1 {
		t.Errorf("then it was told %d times, want once more", len(got))
	}
	s.tell(55*time.Minute, 65*time.Minute)
	if got := s.commands(t, command1); len(got) != 0 {
		t.Errorf("and then %d times, want none", len(got))
	}
}

// What no ledger has is told to nobody.
func TestNoCommandWithoutARecord(t *testing.T) {
	l := inMemory(t)
	s := newSparkplugStill(t, l)
	s.tell(0, 40*time.Minute)
	a := s.workers[0].desk.Standing()
	s.published = nil
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	s.decide(t, a, wire.Approve)
	s.lots[0].flush()
	s.birth(41*time.Minute, 10)
	for _, got := range s.commands(t, command1) {
		if !same(got, nothing) {
			t.Errorf("the ledger is closed, and was told %v", got)
		}
	}
	if state := s.workers[0].desk.Standing().Approval.State; state != policy.StatePending {
		t.Errorf("the advice is %s", state)
	}
}

// A daemon that was killed tells again what is on record, and takes back what has ended
// meanwhile.
func TestCommandsAfterARestart(t *testing.T) {
	for name, c := range map[string]struct {
		withdrawn bool
		after     time.Duration
	}{"in force": {false, 45 * time.Minute}, "withdrawn": {true, 45 * time.Minute}, "its day is over": {false, 30 * time.Hour}} {
		t.Run(name, func(t *testing.T) {
			l := inMemory(t)
			s := newSparkplugStill(t, l)
			s.tell(0, 40*time.Minute)
			a := s.workers[0].desk.Standing()
			s.decide(t, a, wire.Approve)
			s.lots[0].flush()
			if c.withdrawn {
				s.decide(t, a, wire.Withdraw)
				s.lots[0].flush()
			}
			again := newSparkplugStill(t, l)
			if c.after > time.Hour {
				again.tell(c.after, c.after)
			}
			again.published = nil
			again.control(0, shard.Control{Kind: shard.Resync, Time: morning.Add(c.after)})
			again.lots[0].flush()
			want := nothing
			if name == "in force" {
				want = wanted(a)
			}
			if got := again.commands(t, command1); len(got) != 1 || !same(got[0], want) {
				t.Errorf("was told %v, want %v", got, want)
			}
		})
	}
}

// Readings of an edge node come to its zone; one that was not born is asked, by the
// session of the site, for what is missing.
func TestReadingsOfAnEdgeNode(t *testing.T) {
	s := newSparkplugStill(t, inMemory(t))
	at := func(after time.Duration) uint64 { return uint64(morning.Add(after).UnixMilli()) }
	data := func(after time.Duration, seq int) {
		minutes := after.Minutes()
		p := edgenode.Payload{Timestamp: at(after), Seq: seq, Metrics: []edgenode.Metric{
			{Alias: 1, Timestamp: at(after), Value: float32(55.5 - 0.02*minutes + 0.08*math.Sin(3*minutes))}, {Alias: 2, Timestamp: at(after), Value: float32(55.7 - 0.02*minutes + 0.08*math.Sin(4*minutes))},
		}}
		s.receive("spBv1.0/farm/NDATA/plc9", p.Encode(), morning.Add(after))
	}
	data(0, 9)
	s.lots[0].flush()
	var asked int
	for _, m := range s.published {
		if m.Topic == request1 {
			asked++
		}
	}
	if asked != 1 || s.refused(t, "unborn") != 1 {
		t.Errorf("asked %d times, %d messages refused as unborn; want one each", asked, s.refused(t, "unborn"))
	}
	birth := edgenode.Payload{Timestamp: at(0), Metrics: []edgenode.Metric{
		{Name: "bench-0/p1/vwc", Alias: 1, Timestamp: at(0), Type: 9, Value: float32(55.5)}, {Name: "bench-0/p2/vwc", Alias: 2, Timestamp: at(0), Type: 9, Value: float32(55.7)},
	}}
	s.receive("spBv1.0/farm/NBIRTH/plc9", birth.Encode(), morning)
	for i := 1; i <= 8; i++ {
		data(time.Duration(i)*5*time.Minute, i)
	}
	s.lots[0].shard.DrainAll()
	s.lots[0].flush()
	payload, _ := s.lastOf(s.topics[0].State(bench(0)))
	state, err := wire.ParseState(payload)
	if err != nil || state.WaterContent == nil || math.Abs(*state.WaterContent-0.5) > 0.1 || !state.Data.Quorum {
		t.Errorf("the state is %s (%v)", payload, err)
	}
	if s.workers[0].desk.Standing() == nil {
		t.Error("no advice came of it")
	}
}

// What a site file does not tell an output any more is taken back there: by a reload, and
// at a start after it was taken out while the daemon was down. Where the ledger cannot
// say, a reload knows all the same.
func TestWhatIsTakenFromAnOutput(t *testing.T) {
	log := slog.New(slog.DiscardHandler)
	for name, c := range map[string]struct {
		next string
		want map[string]string // of bench-0, nil: nothing is said
	}{
		"nothing":     {sparkplugSite(2), nil},
		"the zone":    {strings.ReplaceAll(sparkplugSite(1), "bench-0", "bench-1"), nothing},
		"the output":  {siteOf("north", 2), nothing},
		"a metric":    {strings.Replace(sparkplugSite(2), `run_time_s: "{zone}/run_s", `, "", 1), map[string]string{"bench-0/run_s": "null"}},
		"its name":    {strings.Replace(sparkplugSite(2), `{zone}/shot_ml`, `{zone}/shot`, 1), map[string]string{"bench-0/shot_ml": "null"}},
		"its zones":   {sparkplugSite(2) + "    zones: [bench-1]\n", nothing},
		"the device":  {strings.Replace(sparkplugSite(2), "device: valves", "device: other", 1), nothing},
		"not a thing": {sparkplugSite(3), nil},
		"the site":    {siteOf("south", 2), nil}, // whom another daemon may serve
	} {
		for _, how := range []string{"reload", "reload without a ledger", "restart"} {
			t.Run(name+" at a "+how, func(t *testing.T) {
				l := inMemory(t)
				service := &Service{ledger: l, Log: log}
				before := newStillOf(t, sparkplugSite(2), "telemetry", l).house
				if former := service.formerOutputs(nil, before); len(former) > 0 {
					t.Errorf("at the first start there were %q", former)
				}
				h := newStillOf(t, c.next, "telemetry", inMemory(t)).house
				switch how {
				case "reload without a ledger":
					if err := l.Close(); err != nil {
						t.Fatal(err)
					}
				case "restart":
					before = nil
				}
				ours, out := h.takenBack(service.formerOutputs(before, h), before)
				if wantOurs := name != "nothing" && name != "the site"; len(ours) > 0 != wantOurs {
					t.Errorf("settled %q", ours)
				}
				s := &still{}
				for _, m := range out {
					if metrics := fmt.Sprint(told(t, m.Payload)); m.Topic == command1 && strings.Contains(metrics, "bench-0/") {
						s.published = append(s.published, m.Message)
					}
				}
				got := s.commands(t, command1)
				if c.want == nil && len(got) > 0 || c.want != nil && (len(got) != 1 || !same(got[0], c.want)) {
					t.Errorf("was told %v, want %v", got, c.want)
				}
			})
		}
	}
}

// An output that is taken out of its site file and put back while the broker is away is
// told nulls late. It stays on record all the same: it may be told setpoints again, and be
// taken out while the daemon is down.
func TestAnOutputThatComesBackStaysOnRecord(t *testing.T) {
	b := newBroker(t)
	var told locked
	if err := b.Subscribe(command1, func(string, []byte) { told.Write([]byte(".")) }); err != nil {
		t.Fatal(err)
	}
	l := inMemory(t)
	s := &Service{
		Settings: Settings{Broker: "tcp://" + b.Address, ClientID: "rhizostat", TopicRoot: "rhizostat"},
		Log:      slog.New(slog.DiscardHandler), ledger: l, metrics: newMetrics("test"), instance: "rhizostat-a",
	}
	var want []string
	for _, text := range []string{sparkplugSite(1), siteOf("north", 1), sparkplugSite(1)} {
		h := newStillOf(t, text, "telemetry", l).house
		h.control, h.crowded = func(int, shard.Control) {}, func() bool { return false }
		next, err := s.newLink(h)
		if err != nil {
			t.Fatal(err)
		}
		if s.link != nil {
			next.Follow(s.link)
		}
		s.house, s.link = h, next
		if want == nil {
			if want, err = l.Outputs(t.Context()); err != nil || len(want) != 1 {
				t.Fatalf("%q %v", want, err)
			}
		}
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.link.Run(ctx)
	}()
	eventually(t, 10*time.Second, text("no null"), func() bool { return told.String() != "" })
	stop()
	<-done
	if got, err := l.Outputs(t.Context()); err != nil || !slices.Equal(got, want) {
		t.Errorf("on record are %q (%v), want %q", got, err, want)
	}
}

// Outputs that a full disk kept from the record are on it once there is room, before a
// command can tell them anything.
func TestOutputsAreNotedOnceThereIsRoom(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.db")
	l, err := ledger.Open(t.Context(), path, ledger.Options{ProbeEvery: time.Nanosecond})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	s := newSparkplugStill(t, l)
	w := s.workers[0]
	s.tell(0, 40*time.Minute)
	away := func(from, to string) {
		t.Helper()
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}
	away(path, path+".away")
	service := &Service{ledger: l, Log: slog.New(slog.DiscardHandler)}
	service.formerOutputs(nil, s.house)
	s.tell(45*time.Minute, 50*time.Minute)
	away(path+".away", path)
	if noted, err := l.Outputs(t.Context()); err != nil || len(noted) > 0 {
		t.Fatalf("the ledger was away, and has noted %q (%v)", noted, err)
	}
	s.publish = func(_ int, m wire.Message, _ time.Time) {
		if m.Topic != command1 {
			return
		}
		if noted, err := l.Outputs(t.Context()); err != nil || len(noted) != 1 {
			t.Errorf("told %v, and noted are %q (%v)", told(t, m.Payload), noted, err)
		}
		s.published = append(s.published, m)
	}
	s.decide(t, w.desk.Standing(), wire.Approve)
	s.lots[0].flush()
	if got := s.commands(t, command1); len(got) != 1 {
		t.Errorf("approved, and was told %v", got)
	}
}

// What is taken back bears the types that its edge node declared, where they are known,
// and the time of the zones.
func TestWhatIsTakenBackIsAsDeclared(t *testing.T) {
	s := newSparkplugStill(t, inMemory(t))
	s.tell(0, 40*time.Minute)
	s.birth(40*time.Minute, 9, 3) // Float, Int32
	former, err := s.house.notes()
	if err != nil {
		t.Fatal(err)
	}
	h := newStillOf(t, siteOf("north", 1), "telemetry", inMemory(t)).house
	_, out := h.takenBack(former, s.house)
	if len(out) != 1 {
		t.Fatalf("%d commands, want one", len(out))
	}
	p, err := wire.ParseSparkplug(out[0].Payload)
	if want := morning.Add(40 * time.Minute); err != nil || p.Timestamp != uint64(want.UnixMilli()) {
		t.Errorf("it bears the time %d (%v), want %d", p.Timestamp, err, want.UnixMilli())
	}
	var types []wire.SparkplugType
	for m := range p.Metrics {
		types = append(types, m.Type)
	}
	slices.Sort(types)
	if want := []wire.SparkplugType{3, 9, 13}; !slices.Equal(types, want) {
		t.Errorf("its types are %v, want %v", types, want)
	}
}

// The recording of an edge node, with payloads as digits: its readings come out as
// states, and its commands as digits too.
func TestReplayOfAnEdgeNode(t *testing.T) {
	var in bytes.Buffer
	line := func(after time.Duration, topic string, p edgenode.Payload) {
		payload := p.Encode()
		fmt.Fprintf(&in, `{"tst":%q,"topic":%q,"qos":0,"retain":0,"payloadlen":%d,"payload":"%x"}`+"\n", morning.Add(after).Format("2006-01-02T15:04:05-0700"), topic, len(payload), payload)
	}
	at := func(after time.Duration) uint64 { return uint64(morning.Add(after).UnixMilli()) }
	line(0, "spBv1.0/farm/NBIRTH/plc9", edgenode.Payload{Timestamp: at(0), Metrics: []edgenode.Metric{{Name: "bench-0/p1/vwc", Alias: 1, Timestamp: at(0), Type: 9, Value: float32(55)}, {Name: "bench-0/p2/vwc", Alias: 2, Timestamp: at(0), Type: 9, Value: float32(55)}}})
	for i := 1; i <= 8; i++ {
		after := time.Duration(i) * 5 * time.Minute
		line(after, "spBv1.0/farm/NDATA/plc9", edgenode.Payload{Timestamp: at(after), Seq: i, Metrics: []edgenode.Metric{{Alias: 1, Value: float32(55 - 0.1*float64(i))}, {Alias: 2, Value: float32(55.2 - 0.09*float64(i))}}})
	}
	line(41*time.Minute, "spBv1.0/farm/DBIRTH/plc9/valves", edgenode.Payload{Timestamp: at(41 * time.Minute), Seq: 9, Metrics: []edgenode.Metric{{Name: "bench-0/shot_ml", Type: 10, Null: true}}})
	in.WriteString(`{"topic":"spBv1.0/farm/NDATA/plc9","payloadlen":40,"payload":"\u0008"}` + "\n")
	settings := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, sparkplugSite(1)), StateEvery: time.Minute}
	var out bytes.Buffer
	said := new(locked)
	if err := Replay(t.Context(), settings, bytes.NewReader(in.Bytes()), &out, slog.New(slog.NewTextHandler(said, nil))); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(said.String(), "cut when it was recorded") {
		t.Errorf("a line that was cut is not said: %s", said.String())
	}
	states, commands := 0, 0
	r := newRecordingReader(&out)
	for {
		rec, err := r.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch rec.Topic {
		case "rhizostat/north/bench-0/state":
			states++
		case command1:
			commands++
			if got := told(t, rec.Payload); !same(got, nothing) {
				t.Errorf("nobody approved, and was told %v", got)
			}
			if !bytes.Contains(rec.Raw, []byte(hex.EncodeToString(rec.Payload))) {
				t.Errorf("not written as digits: %s", rec.Raw)
			}
		case request1:
			t.Error("every birth is there, and one was asked for")
		}
	}
	if states == 0 || commands != 1 {
		t.Errorf("%d states, %d commands; want some and one", states, commands)
	}
}

// A metric takes the setpoints of one site: two that write it are both named, where the
// daemon reads them and where they are checked, in one folder or file by file.
func TestTwoSitesThatWriteOneMetric(t *testing.T) {
	const mine = "{zone}/shot_ml"
	for name, c := range map[string]struct {
		metric string // of the second site's shot volume
		device string
		doubly bool
	}{
		"the same":       {mine, "valves", true},
		"without a zone": {"bench-0/shot_ml", "valves", true},
		"another metric": {"south/{zone}/shot_ml", "valves", false},
		"another device": {mine, "other", false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			output := func(metric, device string) string {
				return "setpoint_outputs:\n  - sparkplug: {group: farm, edge_node: plc9, device: " + device + `, metrics: {shot_volume_ml: "` + metric + "\"}}\n"
			}
			files := []string{filepath.Join(dir, "a.yaml"), filepath.Join(dir, "b.yaml")}
			rewrite(t, files[0], siteOf("north", 1)+output(mine, "valves"))
			rewrite(t, files[1], siteOf("south", 1)+output(c.metric, c.device))
			_, loaded := loadSites(dir, slog.New(slog.DiscardHandler))
			_, checked := Check(files, io.Discard, io.Discard)
			_, folder := Check([]string{dir}, io.Discard, io.Discard)
			for where, err := range map[string]error{"loaded": loaded, "checked": checked, "checked as a folder": folder} {
				if !c.doubly {
					if err != nil {
						t.Errorf("%s: %v", where, err)
					}
					continue
				}
				if !IsUsage(err) {
					t.Errorf("%s: %v; want it refused as a mistake in the files", where, err)
					continue
				}
				for _, part := range []string{"north (" + files[0] + ")", "south (" + files[1] + ")", "bench-0/shot_ml", command1} {
					if !strings.Contains(err.Error(), part) {
						t.Errorf("%s: %v; want %q in it", where, err, part)
					}
				}
			}
			if _, err := Check([]string{files[0], files[0]}, io.Discard, io.Discard); err != nil {
				t.Errorf("one file checked twice: %v", err)
			}
		})
	}
}

// The outputs of a site file, in the order of the file, each with its zones.
func TestOutputsOfSites(t *testing.T) {
	sites, err := loadSites("../testdata/sites/good/sparkplug.yaml", slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	out := outputsOf(append([]*site.Site{{Name: "a"}}, sites...))
	if len(out) != 1 || out[0].site != 1 || out[0].Topic() != command1 || !slices.Equal(out[0].names(), []string{"bench-07/shot_ml"}) {
		t.Errorf("%+v", out)
	}
}
