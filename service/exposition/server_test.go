package exposition

import (
	"compress/gzip"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"rhizostat/service/internal/leaks"
)

func TestMain(m *testing.M) { leaks.Main(m) }

var quiet = slog.New(slog.DiscardHandler)

// get asks a path of a running server.
func get(t *testing.T, base, path string, header ...string) (*http.Response, string) {
	t.Helper()
	request, err := http.NewRequest(http.MethodGet, base+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		request.Header.Set(header[i], header[i+1])
	}
	client := &http.Client{Transport: &http.Transport{DisableCompression: true, DisableKeepAlives: true}}
	response, err := client.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return response, string(body)
}

func TestServer(t *testing.T) {
	var broker error
	h := Health{
		Ready: []Check{
			{"broker", func() error { return broker }}, {"ledger", func() error { return nil }}, {"sites", func() error { return nil }},
		},
	}
	server, err := Listen("127.0.0.1:0", lived(t), h, quiet)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.Run(ctx) }()
	base := "http://" + server.Addr().String()

	for _, path := range []string{"/healthz", "/-/healthy"} {
		if r, body := get(t, base, path); r.StatusCode != 200 || body != "ok\n" {
			t.Errorf("%s: %d %q", path, r.StatusCode, body)
		}
	}
	for _, path := range []string{"/readyz", "/-/ready"} {
		broker = nil
		if r, body := get(t, base, path); r.StatusCode != 200 || body != "broker: ok\nledger: ok\nsites: ok\n" {
			t.Errorf("%s: %d %q", path, r.StatusCode, body)
		}
		broker = errors.New("not connected since 12:00\nlast: refused")
		if r, body := get(t, base, path); r.StatusCode != 503 || body != "broker: not connected since 12:00; last: refused\nledger: ok\nsites: ok\n" {
			t.Errorf("%s: %d %q", path, r.StatusCode, body)
		}
	}
	r, plain := get(t, base, "/metrics")
	if r.StatusCode != 200 || r.Header.Get("Content-Type") != contentType || parse(t, plain)["rhizostat_zone_water_content_ratio"] == nil {
		t.Errorf("/metrics: %d %s", r.StatusCode, r.Header.Get("Content-Type"))
	}
	r, packed := get(t, base, "/metrics", "Accept-Encoding", "zstd, gzip;q=0.5", "Accept", "application/openmetrics-text")
	unpacked, err := gzip.NewReader(strings.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(unpacked)
	if err != nil || r.Header.Get("Content-Encoding") != "gzip" || parse(t, string(text))["go_goroutines"] == nil {
		t.Errorf("/metrics packed: %v", err)
	}
	if r, body := get(t, base, "/"); r.StatusCode != 200 || !strings.Contains(body, "/metrics") {
		t.Errorf("/: %d %q", r.StatusCode, body)
	}
	if r, _ := get(t, base, "/secrets"); r.StatusCode != 404 {
		t.Errorf("/secrets: %d", r.StatusCode)
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if _, err := net.Dial("tcp", server.Addr().String()); err == nil {
		t.Error("it still listens after the end")
	}
}

// TestReadOnly: nothing can be sent to the server.
func TestReadOnly(t *testing.T) {
	h := handler(lived(t), Health{}, quiet)
	for _, path := range []string{"/metrics", "/healthz", "/readyz", "/"} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodPost, path, strings.NewReader("x")))
		if w.Code != http.StatusMethodNotAllowed {
			t.Errorf("POST %s: %d", path, w.Code)
		}
		w = httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodHead, path, nil))
		if w.Code != http.StatusOK || path != "/" && w.Body.Len() > 0 {
			t.Errorf("HEAD %s: %d, %d bytes", path, w.Code, w.Body.Len())
		}
	}
}

// TestAddressTaken: an address that another has is said at once.
func TestAddressTaken(t *testing.T) {
	other, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	_, err = Listen(other.Addr().String(), lived(t), Health{}, quiet)
	if err == nil || !strings.Contains(err.Error(), "cannot be served") || !strings.Contains(err.Error(), "set RHIZOSTAT_HTTP") {
		t.Errorf("%v", err)
	}
}

// TestThirdScrape: two scrapes run at once, a third is told to come again.
func TestThirdScrape(t *testing.T) {
	m := NewMetrics("test", nil)
	began, hold := make(chan bool, 2), make(chan bool)
	m.ZonesFrom(func(func(*Sample) bool) {
		select {
		case began <- true:
			<-hold
		default:
		}
	})
	h := m.Handler(quiet)
	done := make(chan int, 2)
	for range 2 {
		go func() {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
			done <- w.Code
		}()
		<-began
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" {
		t.Errorf("the third got %d", w.Code)
	}
	close(hold)
	for range 2 {
		if code := <-done; code != 200 {
			t.Errorf("one of the first two got %d", code)
		}
	}
}

// TestEndDuringScrape: the end waits for a running scrape, but not for ever.
func TestEndDuringScrape(t *testing.T) {
	m := NewMetrics("test", nil)
	began, hold := make(chan bool), make(chan bool)
	first := true
	m.ZonesFrom(func(func(*Sample) bool) {
		if first {
			first = false
			close(began)
			<-hold
		}
	})
	server, err := Listen("127.0.0.1:0", m, Health{}, quiet)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.Run(ctx) }()
	answered := make(chan int, 1)
	go func() {
		r, _ := get(t, "http://"+server.Addr().String(), "/metrics")
		answered <- r.StatusCode
	}()
	<-began
	stop()
	for { // the end has begun once nobody else is let in
		c, err := net.Dial("tcp", server.Addr().String())
		if err != nil {
			break
		}
		c.Close()
		time.Sleep(time.Millisecond)
	}
	close(hold)
	if code := <-answered; code != 200 {
		t.Errorf("the running scrape got %d", code)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

func TestTakesGzip(t *testing.T) {
	tests := map[string]bool{
		"": false, "gzip": true, "GZIP": true, "deflate, gzip;q=1.0": true, "gzip;q=0": false, "gzip; q=0.000": false, "gzip;q=0.001": true, "identity": false, "x-gzip": false,
	}
	for header, want := range tests {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Header.Set("Accept-Encoding", header)
		if got := takesGzip(r); got != want {
			t.Errorf("%q: %v", header, got)
		}
	}
}
