package service

import (
	"bytes"
	"database/sql"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"rhizostat/service/ledger"
)

// However many lots take back a ledger side by side, what they have of it and what they
// say is the same, in the same order.
func TestLotsRecoverSideBySide(t *testing.T) {
	const zones = 6
	path := filepath.Join(t.TempDir(), "l.db")
	decided(t, path, zones)
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	for _, damage := range []string{
		`UPDATE zones SET snapshot = x'00' WHERE zone IN ('bench-1', 'bench-2', 'bench-4')`,
		`UPDATE zones SET version = 1 WHERE zone = 'bench-3'`,
		`UPDATE advice SET body = x'7b' WHERE zone IN ('bench-0', 'bench-2', 'bench-5')`,
	} {
		if _, err := db.Exec(damage); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	recovered := func(lots int) (log string, all []string) {
		l, err := ledger.Open(t.Context(), path, ledger.Options{})
		if err != nil {
			t.Fatal(err)
		}
		var said bytes.Buffer
		logger := slog.New(slog.NewTextHandler(&said, &slog.HandlerOptions{ReplaceAttr: func(_ []string, a slog.Attr) slog.Attr {
			if a.Key == slog.TimeKey {
				return slog.Attr{}
			}
			return a
		}}))
		settings := Settings{TopicRoot: "rhizostat", Sites: writeSite(t, siteOf("north", zones)), Clock: "telemetry"}
		sites, err := loadSites(settings.Sites, logger)
		if err != nil {
			t.Fatal(err)
		}
		m := newMetrics("test")
		h, err := newHouse(t.Context(), settings, sites, l, m, lots, logger)
		if err != nil {
			t.Fatal(err)
		}
		var exposed strings.Builder
		if err := m.Expose(&exposed); err != nil {
			t.Fatal(err)
		}
		if want := "rhizostat_ledger_unreadable_records 3\n"; !strings.Contains(exposed.String(), want) {
			t.Errorf("%d lots: not exposed is %q", lots, want)
		}
		for _, w := range h.workers {
			all = append(all, fmt.Sprint(w.settings.Zone, w.now, w.desk.Newest(), w.desk.Approvals(), w.point, w.newest, w.lost, w.behind, w.leftOut, w.inForce, w.lot.shard.Snapshot(w.index), w.engine.Snapshot()))
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		return said.String(), all
	}
	log, all := recovered(1)
	var order []string
	for line := range strings.Lines(log) {
		_, zone, _ := strings.Cut(line, "zone=")
		zone, _, _ = strings.Cut(zone, " ")
		order = append(order, zone)
	}
	want := []string{"bench-0", "bench-1", "bench-2", "bench-2", "bench-3", "bench-4", "bench-5"}
	if !slices.Equal(order, want) {
		t.Fatalf("it said of %q, expected of %q:\n%s", order, want, log)
	}
	for _, lots := range []int{2, 5} {
		for range 4 {
			otherLog, other := recovered(lots)
			if otherLog != log {
				t.Errorf("%d lots said\n%s\none said\n%s", lots, otherLog, log)
			}
			if !slices.Equal(other, all) {
				t.Errorf("%d lots took back\n%s\none took back\n%s", lots, other, all)
			}
		}
	}
}
