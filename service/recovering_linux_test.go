package service

import (
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"rhizostat/service/ledger"
)

// BenchmarkRecover gives the processor time, us, that a zone takes at a start: of its site
// file, and of all that the ledger has of it. It makes a ledger of 2,000 zones first;
// RHIZOSTAT_RECOVER names a folder in which that stays for the next time, as long as the
// layouts of the snapshots are the same.
func BenchmarkRecover(b *testing.B) {
	const zones = 2000
	folder := os.Getenv("RHIZOSTAT_RECOVER")
	if folder == "" {
		folder = b.TempDir()
	}
	path, sites := filepath.Join(folder, "l.db"), filepath.Join(folder, "site.yaml")
	if _, err := os.Stat(path); err != nil {
		if err := os.WriteFile(sites, []byte(siteOf("north", zones)), 0o600); err != nil {
			b.Fatal(err)
		}
		fillLedger(b, path, sites, zones)
	}
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	settings := Settings{TopicRoot: "rhizostat", Sites: sites, Clock: "telemetry", StateEvery: 5 * time.Minute}
	reading, recovering := 0.0, 0.0
	for b.Loop() {
		began := spent(b)
		loaded, err := loadSites(sites, log)
		if err != nil {
			b.Fatal(err)
		}
		reading += spent(b) - began
		l, err := ledger.Open(b.Context(), path, ledger.Options{})
		if err != nil {
			b.Fatal(err)
		}
		h, err := newHouse(b.Context(), settings, loaded, l, newMetrics("test"), runtime.GOMAXPROCS(0), log)
		if err != nil {
			b.Fatal(err)
		}
		recovering += spent(b) - began
		if w := h.workers[zones-1]; w.now.IsZero() || w.point.At.IsZero() || w.desk.Standing() == nil {
			b.Fatal("not all was taken back")
		}
		if err := l.Close(); err != nil {
			b.Fatal(err)
		}
	}
	each := 1e6 / float64(zones*b.N)
	b.ReportMetric(reading*each, "us-site/zone")
	b.ReportMetric(recovering*each, "us/zone")
}

// spent is the processor time that this process has had, s.
func spent(b *testing.B) float64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()).Seconds()
}
