package exposition

import (
	"bufio"
	"compress/gzip"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strings"

	"github.com/prometheus/common/expfmt"
)

// contentType is the text format that every Prometheus reads.
const contentType = "text/plain; version=0.0.4; charset=utf-8"

// Handler serves /metrics: first the daemon's own instruments, then the zones'.
// At most two scrapes run at once; a third is told to come again, so that a
// scraper that retries in a hurry cannot take the machine.
func (m *Metrics) Handler(log *slog.Logger) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		select {
		case m.scrapes <- struct{}{}:
			defer func() { <-m.scrapes }()
		default:
			w.Header().Set("Retry-After", "5")
			http.Error(w, "two scrapes are running already; expected one at a time; come again in 5 s", http.StatusServiceUnavailable)
			return
		}
		w.Header().Set("Content-Type", contentType)
		w.Header().Set("Vary", "Accept-Encoding")
		if !takesGzip(r) {
			m.serve(w, r, log)
			return
		}
		w.Header().Set("Content-Encoding", "gzip")
		packed, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
		if err != nil { // the level is a constant that gzip knows
			panic(err)
		}
		if m.serve(packed, r, log) {
			if err := packed.Close(); err != nil {
				log.Debug("scrape was cut", "error", err)
			}
		}
	})
}

// serve writes the body. An error in the middle cannot change the status any
// more: the body is then cut, which a scraper sees.
func (m *Metrics) serve(w io.Writer, r *http.Request, log *slog.Logger) bool {
	if r.Method == http.MethodHead {
		return false
	}
	if err := m.Expose(w); err != nil {
		log.Debug("scrape was cut", "error", err)
		return false
	}
	return true
}

// Expose writes all instruments in the text format.
func (m *Metrics) Expose(w io.Writer) error {
	families, err := m.registry.Gather()
	if err != nil {
		return fmt.Errorf("metrics: gather the daemon's own: %w", err)
	}
	buffered := bufio.NewWriter(w)
	for _, f := range families {
		if _, err := expfmt.MetricFamilyToText(buffered, f); err != nil {
			return fmt.Errorf("metrics: write %s: %w", f.GetName(), err)
		}
	}
	if err := buffered.Flush(); err != nil {
		return err
	}
	if from := m.source.Load(); from != nil {
		return writeZones(w, *from)
	}
	return nil
}

// takesGzip reports whether the request allows gzip (RFC 9110, section 12.5.3).
func takesGzip(r *http.Request) bool {
	for _, header := range r.Header.Values("Accept-Encoding") {
		for part := range strings.SplitSeq(header, ",") {
			coding, weight, weighted := strings.Cut(part, ";")
			if !strings.EqualFold(strings.TrimSpace(coding), "gzip") {
				continue
			}
			weight = strings.ReplaceAll(weight, " ", "")
			return !weighted || strings.Trim(strings.TrimPrefix(weight, "q="), "0.") != ""
		}
	}
	return false
}
