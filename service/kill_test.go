package service

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/ledger"
	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// A daemon that is killed in the middle of decisions, again and again: nothing
// that was answered "accepted" is lost, and nothing that nobody approved is ever
// on a setpoint topic or told to a device as a command. The broker lives on, as a
// facility's does.
func TestKilledInTheMiddleOfDecisions(t *testing.T) {
	t.Parallel()
	const lanes = 5 // daemons at once, to save time; they share nothing but the broker
	rounds := 10    // 5 x 10 kills
	if testing.Short() {
		rounds = 2
	}
	broker := realBroker(t)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	boards, devices := make([]*board, lanes), make([]*device, lanes)
	for i := range boards {
		boards[i] = watch(t, broker, fmt.Sprintf("rhizostat/site-%d/#", i))
		devices[i] = obey(t, broker, fmt.Sprintf("site-%d", i))
	}
	var playing sync.WaitGroup
	for i := range lanes { // all at once: they wait more than they work
		playing.Go(func() {
			t.Run(fmt.Sprintf("site-%d", i), func(t *testing.T) {
				l := &lane{
					broker: broker, board: boards[i], device: devices[i], topics: wire.Topics{Root: "rhizostat", Site: fmt.Sprintf("site-%d", i)},
					random: rand.New(rand.NewPCG(seed, uint64(i))), zones: 40, sent: map[string]bool{},
				}
				l.site, l.ledger = writeSite(t, siteOf(l.topics.Site, l.zones)+outputTo(l.topics.Site)), filepath.Join(t.TempDir(), "l.db")
				l.play(t, rounds)
			})
		})
	}
	playing.Wait()
}

// lane is one daemon with its site.
type lane struct {
	broker       *broker
	board        *board
	device       *device
	topics       wire.Topics
	site, ledger string
	zones        int
	random       *rand.Rand
	daemon       *child
	sent         map[string]bool // decisions, as key has them
}

func key(advice string, v wire.Verdict) string { return advice + " " + string(v) }

func (l *lane) play(t *testing.T, rounds int) {
	l.start(t)
	defer func() {
		if t.Failed() {
			t.Logf("the last daemon's log:\n%s", l.daemon.log.String())
		}
	}()
	advise(t, l.broker, l.board, l.topics, l.zones)
	accepted := 0
	for round := range rounds {
		l.decideAndKill(t, fmt.Sprintf("person of round %d", round))
		l.start(t)
		// the broker keeps what a killed daemon has not acknowledged
		eventually(t, 10*time.Second, func() string { return "never answered: " + l.unanswered(t) }, func() bool { return l.unanswered(t) == "" })
		if !l.settled(t) {
			return
		}
		// what the broker sends again is answered before its advice is published
		eventually(t, 10*time.Second, func() string { return l.unfollowed(t) }, func() bool { return l.unfollowed(t) == "" })
		accepted = l.accepted(t)
	}
	l.daemon.end(t, syscall.SIGTERM)
	l.record(t)
	t.Logf("%d kills, %d decisions sent, %d accepted", rounds, len(l.sent), accepted)
	if accepted == 0 {
		t.Error("no decision was accepted: nothing was tried")
	}
}

// start starts the daemon and waits until it is online.
func (l *lane) start(t *testing.T) {
	t.Helper()
	before := l.board.count(l.topics.Status())
	l.daemon = startChild(t, "RHIZOSTAT_BROKER=tcp://"+l.broker.Address, "RHIZOSTAT_CLIENT_ID=daemon-of-"+l.topics.Site, "RHIZOSTAT_SITES="+l.site,
		"RHIZOSTAT_LEDGER="+l.ledger, "RHIZOSTAT_HTTP=127.0.0.1:0", "RHIZOSTAT_CLOCK=telemetry")
	eventually(t, 20*time.Second, func() string { return "not online\n" + l.daemon.log.String() }, func() bool {
		s, err := wire.ParseStatus(l.board.get(l.topics.Status()))
		return err == nil && s.Status == wire.Online && l.board.count(l.topics.Status()) > before
	})
}

// decideAndKill sends some decisions and kills the daemon somewhere among them.
func (l *lane) decideAndKill(t *testing.T, by string) {
	t.Helper()
	killed := make(chan struct{})
	after := time.Duration(l.random.Int64N(int64(25 * time.Millisecond)))
	daemon := l.daemon
	time.AfterFunc(after, func() {
		defer close(killed)
		daemon.command.Process.Kill()
	})
	for _, i := range l.random.Perm(l.zones)[:6] {
		a := l.board.advice(t, l.topics, bench(i))
		verdict := wire.Approve
		switch {
		case a.Approval.State == policy.StateApproved:
			verdict = wire.Withdraw
		case a.Approval.State != policy.StatePending:
			continue
		case l.random.IntN(4) == 0:
			verdict = wire.Reject
		}
		l.sent[key(a.ID, verdict)] = true
		decide(t, l.broker, l.topics, a, verdict, by)
		time.Sleep(time.Duration(l.random.Int64N(int64(4 * time.Millisecond))))
	}
	<-killed
	daemon.command.Wait() // it was killed: its status says nothing
}

// settled looks at the broker as a controller does that connects now, until
// what stands there agrees: setpoints exactly where the standing advice is
// approved, of that very advice.
func (l *lane) settled(t *testing.T) bool {
	t.Helper()
	var wrong string
	const limit = patience * 10 * time.Second
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if wrong = l.disagreement(t); wrong == "" {
			return true
		}
	}
	t.Errorf("%s after a restart: %s", limit, wrong)
	return false
}

func (l *lane) disagreement(t *testing.T) string {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), patience*10*time.Second)
	defer stop()
	visit, err := link.Visit(ctx, link.Settings{Broker: "tcp://" + l.broker.Address, ClientID: "controller-of-" + l.topics.Site}, "look")
	if err != nil {
		t.Fatal(err)
	}
	defer visit.Close()
	retained, err := visit.Retained(ctx, l.topics.Advice("+"), l.topics.Setpoint("+"), l.topics.SetpointNumber("+", "+"))
	if err != nil {
		t.Fatal(err)
	}
	stands := map[string][]byte{}
	for _, r := range retained {
		stands[r.Topic] = r.Payload
	}
	for i := range l.zones {
		if wrong := l.zoneDisagrees(t, bench(i), stands); wrong != "" {
			return wrong
		}
	}
	return ""
}

func (l *lane) zoneDisagrees(t *testing.T, zone string, stands map[string][]byte) string {
	t.Helper()
	a, err := wire.ParseAdvice(stands[l.topics.Advice(zone)])
	if err != nil {
		return fmt.Sprintf("%s: advice: %v", zone, err)
	}
	approved := a.Approval.State == policy.StateApproved
	want := "null until null"
	if approved {
		want = fmt.Sprintf("%v until %d", a.Setpoints.ShotVolumeML, a.ValidUntil.UnixMilli())
	}
	if got := l.device.goesBy(zone); got != want {
		return fmt.Sprintf("%s: advice is %s, and its device was told %s, want %s", zone, a.Approval.State, got, want)
	}
	if approved && !l.sent[key(a.ID, wire.Approve)] {
		t.Errorf("%s: advice %s is approved, and nobody sent that", zone, a.ID)
	}
	payload := stands[l.topics.Setpoint(zone)]
	if !approved {
		for _, name := range append([]string{""}, wire.PlainNames()...) {
			topic := strings.TrimSuffix(l.topics.SetpointNumber(zone, name), "/")
			if len(stands[topic]) > 0 {
				return fmt.Sprintf("%s: advice is %s, and %s has %s", zone, a.Approval.State, topic, stands[topic])
			}
		}
		return ""
	}
	s, err := wire.ParseSetpoint(payload)
	if err != nil {
		return fmt.Sprintf("%s: advice %s is approved: setpoint: %v", zone, a.ID, err)
	}
	if s.Advice != a.ID || s.Digest != a.Approval.Digest {
		return fmt.Sprintf("%s: advice %s is approved, the setpoints are of %s", zone, a.ID, s.Advice)
	}
	if len(stands[l.topics.SetpointNumber(zone, "shot_volume_ml")]) == 0 {
		return fmt.Sprintf("%s: advice %s is approved, its plain numbers are not there", zone, a.ID)
	}
	return ""
}

// results are all answers so far with their zones.
func (l *lane) results(t *testing.T, each func(zone string, r wire.Result)) {
	t.Helper()
	for _, m := range l.board.history() {
		if !strings.HasSuffix(m.Topic, "/decision/result") {
			continue
		}
		r, err := wire.ParseResult(m.Payload)
		if err != nil {
			t.Fatal(err)
		}
		place, _ := wire.Parse(l.topics.Root, m.Topic)
		each(place.Zone, r)
	}
}

// accepted counts the accepted answers.
func (l *lane) accepted(t *testing.T) (n int) {
	t.Helper()
	l.results(t, func(_ string, r wire.Result) {
		if r.Result == wire.Accepted {
			n++
		}
	})
	return n
}

// unanswered names a decision that has had no answer.
func (l *lane) unanswered(t *testing.T) string {
	t.Helper()
	answered := map[string]bool{}
	l.results(t, func(_ string, r wire.Result) { answered[key(r.Advice, r.Decision)] = true })
	for decision := range l.sent {
		if !answered[decision] {
			return decision
		}
	}
	return ""
}

// unfollowed holds every answer so far against what stands, and names one of which
// nothing has come.
func (l *lane) unfollowed(t *testing.T) (wrong string) {
	t.Helper()
	l.results(t, func(zone string, r wire.Result) {
		a := l.board.advice(t, l.topics, zone)
		if got := a.Approval.State; r.Result == wire.Accepted && a.ID == r.Advice && !l.follows(r, got) {
			wrong = fmt.Sprintf("%s: %s of %s was answered accepted, now the advice is %s", zone, r.Decision, r.Advice, got)
		}
	})
	return wrong
}

// follows reports whether a state can follow an accepted decision.
func (l *lane) follows(r wire.Result, s policy.ApprovalState) bool {
	switch r.Decision {
	case wire.Reject:
		return s == policy.StateRejected
	case wire.Withdraw:
		return s == policy.StateWithdrawn
	}
	return s == policy.StateApproved || s == policy.StateWithdrawn && l.sent[key(r.Advice, wire.Withdraw)]
}

// record reads the ledger as a report does: every accepted answer is there and
// every accepted decision that still stands was answered so, and every setpoint that was
// ever seen had been approved.
func (l *lane) record(t *testing.T) {
	t.Helper()
	ctx := context.Background()
	reader, err := ledger.OpenReadOnly(ctx, l.ledger)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	approvedIn := map[string]bool{}
	moved, taken, withdrawn := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for i := range l.zones {
		moves, err := reader.Moves(ctx, l.topics.Site, bench(i), time.Time{}, farFuture)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range moves {
			approvedIn[bench(i)] = approvedIn[bench(i)] || m.To == policy.StateApproved
			moved[m.Advice+" "+m.Digest+" "+string(m.To)] = true
		}
		decisions, err := reader.Decisions(ctx, l.topics.Site, bench(i), time.Time{}, farFuture)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range decisions {
			if d.Result.Result == wire.Accepted {
				taken[key(d.Decision.Advice, d.Decision.Decision)+" "+d.Decision.By] = true
				withdrawn[d.Decision.Advice] = withdrawn[d.Decision.Advice] || d.Decision.Decision == wire.Withdraw
			}
		}
	}
	for _, m := range l.board.history() {
		switch {
		case len(m.Payload) == 0:
		case strings.HasSuffix(m.Topic, "/decision/result"):
			r, err := wire.ParseResult(m.Payload)
			if err != nil {
				t.Fatal(err)
			}
			if r.Result == wire.Accepted && !taken[key(r.Advice, r.Decision)+" "+r.By] {
				t.Errorf("%s: %s of %s by %s was answered accepted and is not on record", m.Topic, r.Decision, r.Advice, r.By)
			}
		default:
			s, err := wire.ParseSetpoint(m.Payload)
			if err != nil {
				t.Fatal(err)
			}
			if !moved[s.Advice+" "+s.Digest+" "+string(policy.StateApproved)] || !l.sent[key(s.Advice, wire.Approve)] {
				t.Errorf("%s: setpoints of %s were published and nobody approved it", m.Topic, s.Advice)
			}
		}
	}
	for zone := range l.device.everTold() {
		if !approvedIn[zone] {
			t.Errorf("%s: its device was told setpoints and nobody approved any", zone)
		}
	}
	for decision := range taken { // the broker sends again what it was not told of
		advice, verdict, _ := strings.Cut(decision, " ")
		if withdrawn[advice] && strings.HasPrefix(verdict, string(wire.Approve)) {
			continue // what comes again after the withdrawal is answered as replayed
		}
		var answers []string
		// the daemon has ended once the broker has its answers, which we may still be sent
		eventually(t, 10*time.Second, func() string {
			return fmt.Sprintf("%s is on record as accepted and was never answered so; the answers are %q", decision, answers)
		}, func() (told bool) {
			answers = nil
			l.results(t, func(zone string, r wire.Result) {
				if r.Advice == advice {
					answers = append(answers, fmt.Sprintf("%s: %+v", zone, r))
				}
				told = told || r.Result == wire.Accepted && key(r.Advice, r.Decision)+" "+r.By == decision
			})
			return told
		})
	}
}

// outputTo has a site tell its setpoints to a device of its own.
func outputTo(site string) string {
	return fmt.Sprintf(`setpoint_outputs:
  - sparkplug: {group: farm, edge_node: plc-of-%s, device: valves, metrics: {shot_volume_ml: "{zone}/shot_ml", valid_until: "{zone}/until"}}
`, site)
}

// device is one that obeys commands: it goes by what it was told last.
type device struct {
	mu   sync.Mutex
	last map[string]string // by metric
	ever map[string]bool   // zones that were ever told a number
}

// obey is the device of a site.
func obey(t *testing.T, b *broker, site string) *device {
	t.Helper()
	d := &device{last: map[string]string{}, ever: map[string]bool{}}
	err := b.Subscribe("spBv1.0/farm/DCMD/plc-of-"+site+"/valves", func(_ string, payload []byte) {
		said := told(t, payload)
		d.mu.Lock()
		defer d.mu.Unlock()
		for metric, value := range said {
			d.last[metric] = value
			if zone, _, _ := strings.Cut(metric, "/"); value != "null" {
				d.ever[zone] = true
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// goesBy is the shot and the end of the setpoints that it waters a zone by.
func (d *device) goesBy(zone string) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.last[zone+"/shot_ml"] + " until " + d.last[zone+"/until"]
}

func (d *device) everTold() map[string]bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return maps.Clone(d.ever)
}
