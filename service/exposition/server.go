package exposition

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"
)

// Server serves /metrics, /healthz and /readyz.
type Server struct {
	listener net.Listener
	http     *http.Server
	log      *slog.Logger
}

// shutdownWithin is how long a running scrape may hold up the end.
const shutdownWithin = 3 * time.Second

// Listen opens the address, such as :9187. An address that is taken is an error
// here, before anything runs.
func Listen(address string, m *Metrics, h Health, log *slog.Logger) (*Server, error) {
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("http: address %s cannot be served: %w; expected a free host:port such as :9187; set RHIZOSTAT_HTTP", address, err)
	}
	return &Server{
		listener: listener, log: log,
		http: &http.Server{
			Handler:           handler(m, h, log),
			ReadHeaderTimeout: 5 * time.Second,
			ReadTimeout:       10 * time.Second,
			WriteTimeout:      time.Minute, // of 50,000 zones over a slow line
			IdleTimeout:       2 * time.Minute,
			MaxHeaderBytes:    16 << 10,
			ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelDebug),
		},
	}, nil
}

// Addr is where it listens.
func (s *Server) Addr() net.Addr { return s.listener.Addr() }

// Run serves until ctx ends, then lets running requests finish for a short while.
func (s *Server) Run(ctx context.Context) error {
	done := make(chan error, 1)
	go func() { done <- s.http.Serve(s.listener) }()
	select {
	case err := <-done:
		return fmt.Errorf("http: %w", err)
	case <-ctx.Done():
	}
	within, stop := context.WithTimeout(context.WithoutCancel(ctx), shutdownWithin)
	defer stop()
	if err := s.http.Shutdown(within); err != nil {
		s.log.Debug("a request was cut at the end", "error", err)
		if err := s.http.Close(); err != nil {
			return fmt.Errorf("http: close: %w", err)
		}
	}
	if err := <-done; !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("http: %w", err)
	}
	return nil
}

// handler routes the few paths there are; all are read only.
func handler(m *Metrics, h Health, log *slog.Logger) http.Handler {
	alive, ready := checks(h.Alive), checks(h.Ready)
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", m.Handler(log))
	for _, path := range []string{"/healthz", "/-/healthy"} {
		mux.Handle("GET "+path, alive)
	}
	for _, path := range []string{"/readyz", "/-/ready"} {
		mux.Handle("GET "+path, ready)
	}
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		fmt.Fprint(w, "rhizostat\n\n/metrics  numbers for Prometheus\n/healthz  is the process alive\n/readyz   can it do its work: broker, ledger, sites\n")
	})
	return mux
}
