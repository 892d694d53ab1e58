package service

import (
	"bytes"
	"database/sql"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// One record that a disk has damaged is left out and said, and nothing of it is in force
// or can be approved; its zone is advised anew, and what a person approves of that is put
// out. The other zones go on.
func TestADamagedRecordIsLeftOut(t *testing.T) {
	replaced := func(what, by string) string {
		return `UPDATE advice SET body = CAST(replace(CAST(body AS TEXT), '` + what + `', '` + by + `') AS BLOB)`
	}
	for name, damage := range map[string]string{
		"another says that it approved": replaced(`"by":"a person"`, `"by":"a 4erson"`),
		"another time of approval":      replaced(`"at":"2026-05-04T07:40:00Z"`, `"at":"2026-05-04T07:41:00Z"`),
		"another decision was taken":    `UPDATE advice SET taken = '0' || substr(taken, 2)`,
		"a body that is no JSON":        replaced(`{"id"`, `{"id`),
		// of before a record had a checksum
		"no checksum, and no JSON":                       replaced(`{"id"`, `{"id`) + `, sum = NULL`,
		"no checksum, and a number that was not shown":   replaced(`"shot_volume_ml":`, `"shot_volume_ml":1`) + `, sum = NULL`,
		"no checksum, approved, and nobody says by whom": replaced(`"by":"a person"`, `"by":""`) + `, sum = NULL`,
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "l.db")
			approved := decided(t, path, 6) // of bench-0 and bench-4
			db, err := sql.Open("sqlite", path)
			if err != nil {
				t.Fatal(err)
			}
			if r, err := db.Exec(damage + ` WHERE zone = 'bench-0'`); err != nil {
				t.Fatal(err)
			} else if n, _ := r.RowsAffected(); n == 0 {
				t.Fatal("nothing was damaged")
			}
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			l, err := ledger.Open(t.Context(), path, ledger.Options{})
			if err != nil {
				t.Fatal(err)
			}
			defer l.Close()
			var said bytes.Buffer
			s := started(t, l, 6, slog.New(slog.NewTextHandler(&said, nil)))
			if got := s.counted(t, "rhizostat_ledger_unreadable_records"); got != 1 {
				t.Errorf("%g records counted, want 1", got)
			}
			if strings.Count(said.String(), "part of the ledger is damaged and left out") != 1 || !strings.Contains(said.String(), "zone=bench-0 advice=") || !strings.Contains(said.String(), "put the last copy") {
				t.Errorf("it said:\n%s", said.String())
			}
			w, other := s.workers[0], s.workers[4]
			if got := setpoints(s, w); len(got) > 0 || w.desk.Standing() != nil {
				t.Errorf("nobody can read what was approved, and it stands: %s", got)
			}
			if got, topic := setpoints(s, other), other.topics.Setpoint(bench(4)); !bytes.Equal(got[topic], approved[topic]) {
				t.Errorf("another zone has %s, want %s", got[topic], approved[topic])
			}

			// nor does anything of it remain on the broker
			s.published = nil
			for _, topic := range wire.StandingTopics(w.topics, bench(0)) {
				s.house.control(w.zone, shard.Control{Kind: shard.ReadBack, Topic: topic, Payload: []byte("1"), Time: w.now})
			}
			s.lots[0].flush()
			for _, topic := range wire.StandingTopics(w.topics, bench(0)) {
				if got, sent := s.lastOf(topic); !sent || strings.Contains(topic, "/setpoint") && len(got) > 0 {
					t.Errorf("%s stood on the broker and now has %q (%v), want an empty message", topic, got, sent)
				}
			}

			for after := 45 * time.Minute; after <= 60*time.Minute; after += 5 * time.Minute {
				for _, i := range []int{0, 4} {
					for p, name := range []string{"p1", "p2"} {
						s.receive(w.topics.Telemetry(bench(i), name), reading(i, p, after), morning.Add(after))
					}
				}
			}
			s.lots[0].shard.DrainAll()
			s.lots[0].flush()
			a := w.desk.Standing()
			if a == nil || a.Approval.State != policy.StatePending {
				t.Fatalf("the zone's advice is %+v, want a new one that waits", a)
			}
			for i, damaged := range map[int]bool{0: true, 4: false} {
				payload, _ := s.lastOf(w.topics.State(bench(i)))
				state, err := wire.ParseState(payload)
				if err != nil || state.NotApprovable != nil || (state.LeftOut != nil) != damaged {
					t.Fatalf("%s: the state is %s (%v)", bench(i), payload, err)
				}
				if damaged && (state.LeftOut.Code != "ledger-damaged" || !strings.Contains(state.LeftOut.Text, "is not in force and nobody can approve it")) {
					t.Errorf("the state says %+v", state.LeftOut)
				}
			}
			s.published = nil
			s.decide(t, a, wire.Approve)
			s.lots[0].flush()
			if got, _ := s.lastOf(w.topics.Setpoint(bench(0))); len(got) == 0 {
				t.Error("the new advice was approved, and nothing is put out")
			}
		})
	}
}

// started is a house of so many zones that goes on from a ledger.
func started(t *testing.T, l *ledger.Ledger, zones int, log *slog.Logger) *still {
	t.Helper()
	return newStillWith(t, siteOf("north", zones), "telemetry", l, log)
}
