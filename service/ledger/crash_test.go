//go:build unix

package ledger

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/service/desk"
	"rhizostat/service/wire"
)

// childEnv names what a child of these tests does; its ledger comes after it.
const childEnv = "RHIZOSTAT_TEST_LEDGER_CHILD"

func TestMain(m *testing.M) {
	switch do, path, _ := strings.Cut(os.Getenv(childEnv), " "); do {
	case "":
		os.Exit(m.Run())
	case "decide":
		fmt.Fprintln(os.Stderr, decideForEver(path))
	case "fill":
		fmt.Println(fillDisk(path))
	case "start":
		fmt.Println(startFull(path))
	}
	os.Exit(1)
}

func child(t *testing.T, do, path string) *exec.Cmd {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), childEnv+"="+do+" "+path)
	c.Stderr = os.Stderr
	return c
}

// decideForEver runs the desks of some zones, each from what the ledger has of
// it, and writes each decision to stdout once it is durable. It ends by being
// killed.
func decideForEver(path string) error {
	ctx := context.Background()
	l, err := Open(ctx, path, Options{})
	if err != nil {
		return err
	}
	var wg sync.WaitGroup
	errs := make([]error, 4)
	for g := range errs {
		wg.Go(func() { errs[g] = decideZone(ctx, l, fmt.Sprint("z", g)) })
	}
	wg.Wait()
	return errors.Join(errs...)
}

func decideZone(ctx context.Context, l *Ledger, zone string) error {
	d, err := restored(ctx, l, zone)
	if err != nil {
		return err
	}
	n := 0
	if s := d.Standing(); s != nil {
		if _, err := fmt.Sscanf(s.ID, zone+"-%d", &n); err != nil {
			return err
		}
	}
	for {
		n++
		a := proposal(zone, n)
		// As the shell does it: on a copy, which counts once it is on record.
		next := d.Clone()
		changes, err := next.Propose(a, a.IssuedAt)
		if err == nil {
			err = l.Commit(ctx, Batch{Changes: changes, Zones: []ZoneRow{{Site: "north", Zone: zone, Version: 1, At: a.IssuedAt, Snapshot: make([]byte, 4000)}}})
		}
		if err != nil {
			return err
		}
		d = next
		verdicts := [...][]wire.Verdict{{wire.Approve}, {wire.Reject}, {wire.Approve, wire.Withdraw}, {wire.Approve}}[n%4]
		for _, v := range verdicts {
			next := d.Clone()
			o := next.Decide(said(d.Standing(), v), a.IssuedAt)
			if o.Result.Result != wire.Accepted {
				return fmt.Errorf("%s of %s: %v", v, a.ID, o.Result.Reason)
			}
			if err := l.Commit(ctx, Batch{Changes: o.Changes}); err != nil {
				return err
			}
			d = next
			if _, err := fmt.Printf("%s %s\n", a.ID, v); err != nil {
				return err
			}
		}
	}
}

func said(a *wire.Advice, v wire.Verdict) []byte {
	return fmt.Appendf(nil, `{"advice":%q,"digest":%q,"decision":%q,"by":"ana"}`, a.ID, a.Approval.Digest, v)
}

// proposal is advice n of a zone; each is a minute after the one before.
func proposal(zone string, n int) *advice.Advice {
	at := noon.Add(time.Duration(n) * time.Minute)
	return &advice.Advice{
		ID: fmt.Sprintf("%s-%d", zone, n), Site: "north", Zone: zone, IssuedAt: at, ValidFrom: at, ValidUntil: at.Add(24 * time.Hour),
		DecideBy: at.Add(time.Hour), Action: advice.Irrigate,
		Setpoints: &advice.Setpoints{FirstShotAt: at.Add(time.Hour), LastShotBy: at.Add(9 * time.Hour), TriggerWaterContent: 0.52, MaxVolumeML: 1000 + n},
		Expected:  &advice.Expected{},
	}
}

func restored(ctx context.Context, l *Ledger, zone string) (*desk.Desk, error) {
	r, err := l.Recover(ctx, "north", zone)
	if err != nil {
		return nil, err
	}
	d, refused := desk.Restore("north", zone, &desk.Rules{Location: time.UTC}, r.Advice, r.Covers)
	if len(r.Unreadable)+len(refused) > 0 {
		return nil, fmt.Errorf("unreadable %+v, refused %+v", r.Unreadable, refused)
	}
	return d, nil
}

// TestKilled: a daemon killed at any instruction has lost nothing that it had
// acknowledged, its ledger is whole, and the desk that goes on from it puts
// nothing on setpoint that was not approved.
func TestKilled(t *testing.T) {
	rounds := 50
	if testing.Short() {
		rounds = 5
	}
	path := filepath.Join(t.TempDir(), "ledger.db")
	seed := uint64(time.Now().UnixNano())
	random := rand.New(rand.NewPCG(seed, 0))
	t.Logf("seed %d", seed)
	total, inForce, kills := 0, 0, 0
	// where little was done before the kills, more of them show as much
	for ; kills < rounds || (total < rounds || inForce < rounds) && kills < 10*rounds; kills++ {
		acknowledged := killedAfter(t, path, time.Duration(random.IntN(30_000))*time.Microsecond)
		total += len(acknowledged)
		l, err := Open(t.Context(), path, Options{}) // checks the whole file
		if err != nil {
			t.Fatalf("round %d: %v", kills, err)
		}
		missing(t, l, acknowledged)
		for g := range 4 {
			inForce += onSetpoint(t, l, fmt.Sprint("z", g))
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		if t.Failed() {
			t.Fatalf("round %d", kills)
		}
	}
	t.Logf("%d kills, %d decisions acknowledged, all on record; %d times something was in force, each time approved", kills, total, inForce)
	if total < rounds || inForce < rounds {
		t.Errorf("%d decisions acknowledged and %d in force in %d rounds: this shows too little", total, inForce, kills)
	}
}

// onSetpoint restores the desk of a zone and checks that what it puts on the
// setpoint topics was approved, with its digest, and not taken back; it gives 1
// when there was something.
func onSetpoint(t *testing.T, l *Ledger, zone string) int {
	t.Helper()
	d, err := restored(t.Context(), l, zone)
	if err != nil {
		t.Fatal(err)
	}
	if d.Standing() == nil {
		return 0
	}
	now := d.Standing().IssuedAt
	d.Tick(now)
	messages, err := d.Publications(wire.Topics{Root: "r", Site: "north"}, now)
	if err != nil {
		t.Fatal(err)
	}
	decided, err := l.Decisions(t.Context(), "north", zone, noon, now)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range messages {
		if m.Topic != (wire.Topics{Root: "r", Site: "north"}).Setpoint(zone) || len(m.Payload) == 0 {
			continue
		}
		s, err := wire.ParseSetpoint(m.Payload)
		if err != nil {
			t.Fatal(err)
		}
		approvals := 0
		for _, r := range decided {
			if r.Decision.Advice == s.Advice && r.Result.Result == wire.Accepted {
				if r.Decision.Decision != wire.Approve || r.Decision.Digest != s.Digest {
					t.Errorf("%s is on setpoint after %s of %s", s.Advice, r.Decision.Decision, r.Decision.Digest)
				}
				approvals++
			}
		}
		if approvals != 1 {
			t.Errorf("%s is on setpoint with %d approvals on record", s.Advice, approvals)
		}
		return 1
	}
	return 0
}

// killedAfter starts a child, kills it a while after its first acknowledgement
// and gives what it acknowledged.
func killedAfter(t *testing.T, path string, after time.Duration) (lines []string) {
	t.Helper()
	c := child(t, "decide", path)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	reader := bufio.NewReader(out)
	for {
		line, err := reader.ReadString('\n')
		if err != nil { // a last line without its end was not acknowledged
			if !errors.Is(err, io.EOF) {
				t.Fatal(err)
			}
			break
		}
		if len(lines) == 0 {
			time.AfterFunc(after, func() {
				if err := c.Process.Signal(syscall.SIGKILL); err != nil && !errors.Is(err, os.ErrProcessDone) {
					t.Error(err)
				}
			})
		}
		lines = append(lines, strings.TrimSpace(line))
	}
	var exit *exec.ExitError
	if err := c.Wait(); !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Fatalf("the child ended by itself: %v", err)
	}
	return lines
}

// missing checks that each acknowledged decision is on record, once.
func missing(t *testing.T, l *Ledger, acknowledged []string) {
	t.Helper()
	for _, line := range acknowledged {
		id, verdict, _ := strings.Cut(line, " ")
		zone, _, _ := strings.Cut(id, "-")
		var n int
		err := l.read.QueryRow(`SELECT count(*) FROM decisions WHERE site = 'north' AND zone = ? AND advice = ? AND result = 'accepted'
AND json_extract(CAST(body AS TEXT), '$.decision.decision') = ?`, zone, id, verdict).Scan(&n)
		if err != nil {
			t.Fatal(err)
		}
		if n != 1 {
			t.Errorf("%s was acknowledged and is on record %d times", line, n)
		}
	}
}
