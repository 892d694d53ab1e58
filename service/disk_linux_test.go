package service

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"rhizostat/policy"
	"rhizostat/service/ledger"
	"rhizostat/service/wire"
)

// outage is a daemon whose disk has no room left.
type outage struct {
	broker  *broker
	board   *board
	topics  wire.Topics
	daemon  *child
	ledger  string
	minutes int // told so far

	environment []string // of the daemon
}

const outageZones = 6

// startOutage starts a daemon and lets it advise.
func startOutage(t *testing.T) *outage {
	t.Helper()
	broker := newBroker(t)
	o := &outage{broker: broker, board: watch(t, broker, "rhizostat/#"), topics: wire.Topics{Root: "rhizostat", Site: "north"}, minutes: 40, ledger: filepath.Join(t.TempDir(), "l.db")}
	o.environment = []string{"RHIZOSTAT_BROKER=tcp://" + broker.Address, "RHIZOSTAT_SITES=" + writeSite(t, siteOf("north", outageZones)),
		"RHIZOSTAT_LEDGER=" + o.ledger, "RHIZOSTAT_HTTP=127.0.0.1:0", "RHIZOSTAT_CLOCK=telemetry"}
	o.start(t, 1000000000)
	advise(t, broker, o.board, o.topics, outageZones)
	return o
}

// start starts the daemon with so much room for a file, and waits until it is
// online.
func (o *outage) start(t *testing.T, room uint64) {
	t.Helper()
	before := o.board.get(o.topics.Status())
	o.daemon = startChild(t, append(o.environment, fmt.Sprint(limitEnv, "=", room))...)
	t.Cleanup(func() {
		o.daemon.command.Process.Kill() // it has ended, unless the test failed
		if t.Failed() {
			t.Logf("the daemon's log:\n%s", o.daemon.log.String())
		}
	})
	eventually(t, 15*time.Second, text("not online"), func() bool {
		now := o.board.get(o.topics.Status())
		s, err := wire.ParseStatus(now)
		return err == nil && s.Status == wire.Online && !bytes.Equal(now, before)
	})
}

// room sets how large a file of the daemon may become, from outside, as a disk
// gets full and is cleared.
func (o *outage) room(t *testing.T, bytes uint64) {
	t.Helper()
	if err := setFileLimit(o.daemon.command.Process.Pid, bytes); err != nil {
		t.Skipf("the limit of a running process cannot be set here: %v", err)
	}
}

// goOn tells the next minutes, so that states are published.
func (o *outage) goOn(t *testing.T, minutes int) {
	t.Helper()
	from := o.minutes + 5
	o.minutes += minutes
	tell(t, o.broker, "north", outageZones, time.Duration(from)*time.Minute, time.Duration(o.minutes)*time.Minute)
}

func (o *outage) state(t *testing.T, zone string) *wire.State {
	t.Helper()
	s, err := wire.ParseState(o.board.get(o.topics.State(zone)))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// answer decides and gives the answer.
func (o *outage) answer(t *testing.T, a *wire.Advice, verdict wire.Verdict) wire.Result {
	t.Helper()
	topic := o.topics.DecisionResult(a.Zone)
	before := o.board.count(topic)
	decide(t, o.broker, o.topics, a, verdict, "head grower")
	eventually(t, 20*time.Second, text("the decision has no answer"), func() bool { return o.board.count(topic) > before })
	r, err := wire.ParseResult(o.board.get(topic))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// approve has what stands of a zone approved, now that there is room again. A newer advice
// may be on its way to the board: it comes on another topic than the state that says so.
func (o *outage) approve(t *testing.T, zone string) {
	t.Helper()
	var r wire.Result
	eventually(t, 10*time.Second, func() string { return fmt.Sprintf("with room again: %+v %+v", r, r.Reason) }, func() bool {
		r = o.answer(t, o.board.advice(t, o.topics, zone), wire.Approve)
		if r.Reason != nil && r.Reason.Code == string(wire.LedgerUnavailable) {
			t.Fatalf("the state says that advice can be approved, the answer is %+v", r.Reason)
		}
		return r.Result == wire.Accepted
	})
}

// With a full disk nothing can be approved, and everybody is told: the state
// says why, a decision is refused with the reason, nothing comes to the setpoint
// topics, what was approved before stands. With room again it mends by itself,
// and what a person did meanwhile is on record.
func TestADiskThatFillsUp(t *testing.T) {
	t.Parallel()
	o := startOutage(t)
	if r := o.answer(t, o.board.advice(t, o.topics, bench(0)), wire.Approve); r.Result != wire.Accepted {
		t.Fatalf("with room on the disk: %+v", r)
	}
	o.room(t, 4096)
	eventually(t, 20*time.Second, text("no state says that nothing can be approved"), func() bool {
		o.goOn(t, 5)
		time.Sleep(500 * time.Millisecond)
		s := o.state(t, bench(1))
		return s.NotApprovable != nil && s.NotApprovable.Code == "ledger-unavailable"
	})
	a := o.board.advice(t, o.topics, bench(1))
	r := o.answer(t, a, wire.Approve)
	if r.Result != wire.Refused || r.Reason == nil || r.Reason.Code != string(wire.LedgerUnavailable) {
		t.Errorf("with a full disk: %+v %+v", r, r.Reason)
	}
	if got := o.board.get(o.topics.Setpoint(bench(1))); len(got) > 0 {
		t.Errorf("with a full disk, and setpoints were published: %s", got)
	}
	if got := o.board.advice(t, o.topics, bench(1)); got.Approval.State == policy.StateApproved {
		t.Error("with a full disk the advice became approved")
	}
	if got := o.board.get(o.topics.Setpoint(bench(0))); len(got) == 0 {
		t.Error("what was approved before the disk filled up no longer stands")
	}
	event := fmt.Appendf(nil, `{"time":%q,"kind":"shoots-pruned","by":"head grower"}`, morning.Add(time.Duration(o.minutes)*time.Minute).Format(time.RFC3339))
	if err := o.broker.Publish(o.topics.Event(bench(2)), event, false); err != nil {
		t.Fatal(err)
	}

	o.room(t, 1000000000)
	eventually(t, 30*time.Second, text("the state still says that nothing can be approved"), func() bool {
		o.goOn(t, 5)
		time.Sleep(500 * time.Millisecond)
		return o.state(t, bench(1)).NotApprovable == nil
	})
	o.approve(t, bench(1))
	eventually(t, 10*time.Second, text("no setpoints"), func() bool { return len(o.board.get(o.topics.Setpoint(bench(1)))) > 0 })
	o.daemon.end(t, syscall.SIGTERM)
	o.wantEvent(t, bench(2))
}

// Killed, and started on a disk that has filled up meanwhile: what was approved
// stands, nothing else can be approved until there is room, and it says so.
func TestADaemonThatStartsOnAFullDisk(t *testing.T) {
	t.Parallel()
	o := startOutage(t)
	if r := o.answer(t, o.board.advice(t, o.topics, bench(0)), wire.Approve); r.Result != wire.Accepted {
		t.Fatalf("with room on the disk: %+v", r)
	}
	o.daemon.kill(t)
	const index = 32768 // what SQLite needs to read beside a log
	o.start(t, index)
	eventually(t, 20*time.Second, text("no state says that nothing can be approved"), func() bool {
		o.goOn(t, 5)
		time.Sleep(500 * time.Millisecond)
		s := o.state(t, bench(1))
		return s.NotApprovable != nil && s.NotApprovable.Code == "ledger-unavailable"
	})
	if r := o.answer(t, o.board.advice(t, o.topics, bench(1)), wire.Approve); r.Result != wire.Refused || r.Reason.Code != string(wire.LedgerUnavailable) {
		t.Errorf("with a full disk: %+v %+v", r, r.Reason)
	}
	if len(o.board.get(o.topics.Setpoint(bench(0)))) == 0 {
		t.Error("what was approved before no longer stands")
	}
	o.room(t, 1000000000)
	eventually(t, 30*time.Second, text("with room again nothing can be approved"), func() bool {
		o.goOn(t, 5)
		time.Sleep(500 * time.Millisecond)
		return o.state(t, bench(1)).NotApprovable == nil
	})
	o.approve(t, bench(1))
	o.daemon.end(t, syscall.SIGTERM)
}

// wantEvent wants the event in the ledger.
func (o *outage) wantEvent(t *testing.T, zone string) {
	t.Helper()
	ctx := context.Background()
	r, err := ledger.OpenReadOnly(ctx, o.ledger)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	events, err := r.Events(ctx, "north", zone, time.Time{}, farFuture)
	if err != nil {
		t.Fatal(err)
	}
	if len(events) != 1 || events[0].Kind != policy.ShootsPruned {
		t.Errorf("what a person did while the disk was full is not on record: %+v", events)
	}
}

// setFileLimit sets how large the files of a running process may become.
func setFileLimit(pid int, bytes uint64) error {
	limit := syscall.Rlimit{Cur: bytes, Max: 1 << 40}
	_, _, errno := syscall.RawSyscall6(syscall.SYS_PRLIMIT64, uintptr(pid), syscall.RLIMIT_FSIZE, uintptr(unsafe.Pointer(&limit)), 0, 0, 0)
	if errno != 0 {
		return errno
	}
	return nil
}
