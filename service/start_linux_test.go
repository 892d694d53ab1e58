package service

import (
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// manyZones are those of one process at most.
const manyZones = 50_000

// BenchmarkStart gives how long a whole daemon with 50,000 zones in its ledger, each with
// an advice that waits, takes from its process's start until it is ready, on a Mosquitto:
// s-ready, a second of which it looks out for another daemon, and s-cpu in processor time.
// MiB is the most memory that it has taken by then, KiB/zone that of a zone. It makes the
// ledger first, in some minutes.
func BenchmarkStart(b *testing.B) {
	folder := b.TempDir()
	path, sites := filepath.Join(folder, "l.db"), writeSite(b, siteOf("north", manyZones))
	fillLedger(b, path, sites, manyZones)
	m := newMosquitto(b, func(acl string) string { return acl })
	for b.Loop() {
		address := fmt.Sprintf("127.0.0.1:%d", freePort(b))
		began := time.Now()
		c := startChild(b, "RHIZOSTAT_BROKER=tcp://"+m.address(), "RHIZOSTAT_USERNAME=rhizostat", "RHIZOSTAT_PASSWORD_FILE="+m.path("rhizostat"),
			"RHIZOSTAT_SITES="+sites, "RHIZOSTAT_LEDGER="+path, "RHIZOSTAT_HTTP="+address, "RHIZOSTAT_CLOCK=telemetry")
		eventually(b, 20*time.Second, c.log.String, func() bool {
			response, err := http.Get("http://" + address + "/readyz")
			if err != nil {
				return false
			}
			response.Body.Close()
			return response.StatusCode == http.StatusOK
		})
		took := time.Since(began)
		peak := peakMiB(b, c)
		b.ReportMetric(took.Seconds(), "s-ready")
		b.ReportMetric(spentBy(b, c), "s-cpu")
		b.ReportMetric(peak, "MiB")
		b.ReportMetric(peak*1024/manyZones, "KiB/zone")
		c.kill(b)
	}
}

// fillLedger lets every zone live for three quarters of an hour, after which it has an
// advice.
func fillLedger(b *testing.B, path, sites string, zones int) {
	b.Helper()
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	settings := Settings{TopicRoot: "rhizostat", Sites: sites, Clock: "telemetry", StateEvery: 5 * time.Minute}
	loaded, err := loadSites(sites, log)
	if err != nil {
		b.Fatal(err)
	}
	l, err := ledger.Open(b.Context(), path, ledger.Options{})
	if err != nil {
		b.Fatal(err)
	}
	h, err := newHouse(b.Context(), settings, loaded, l, newMetrics("test"), 1, log)
	if err != nil {
		b.Fatal(err)
	}
	h.publish = func(int, wire.Message, time.Time) {}
	h.telemetry = func(zone int, r shard.Telemetry) { h.lots[0].shard.Telemetry(h.places[zone].index, r) }
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	for after := time.Duration(0); after <= 40*time.Minute; after += 20 * time.Minute {
		for i, w := range h.workers {
			for p, name := range []string{"p1", "p2"} {
				h.receive(topics.Telemetry(bench(i), name), reading(i, p, after), morning.Add(after))
			}
			if i%512 == 511 || w.zone == len(h.workers)-1 {
				h.lots[0].shard.DrainAll()
				h.lots[0].flush()
			}
		}
	}
	advised := 0
	for _, w := range h.workers {
		if w.desk.Standing() != nil {
			advised++
		}
	}
	if advised < zones {
		b.Fatalf("%d of %d zones have an advice", advised, zones)
	}
	if err := l.Close(); err != nil {
		b.Fatal(err)
	}
}

// peakMiB is the most memory that a process has had in use.
func peakMiB(b *testing.B, c *child) float64 {
	b.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", c.command.Process.Pid))
	if err != nil {
		b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	var kib float64
	if _, err := fmt.Sscan(rest, &kib); err != nil {
		b.Fatal(err)
	}
	return kib / 1024
}
