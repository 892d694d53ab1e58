package exposition

import (
	"io"
	"net/http"
	"strings"
)

// Check is one thing that must hold; its error says what does not.
type Check struct {
	Name string // such as broker, ledger, sites
	Run  func() error
}

// Health are the checks behind /healthz and /readyz. They are run at each request
// and must be quick.
type Health struct {
	Alive []Check // fail: the process should be started anew
	Ready []Check // fail: it cannot do its work now, and may mend itself
}

// checks serves the outcome of checks: one line for each, `name: ok` or
// `name: what is wrong`, with status 503 when one fails.
func checks(list []Check) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var body strings.Builder
		status := http.StatusOK
		for _, c := range list {
			body.WriteString(c.Name)
			body.WriteString(": ")
			if err := c.Run(); err != nil {
				status = http.StatusServiceUnavailable
				body.WriteString(strings.ReplaceAll(err.Error(), "\n", "; "))
			} else {
				body.WriteString("ok")
			}
			body.WriteByte('\n')
		}
		if len(list) == 0 {
			body.WriteString("ok\n")
		}
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.Header().Set("Cache-Control", "no-store")
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.WriteHeader(status)
		if r.Method != http.MethodHead {
			_, _ = io.WriteString(w, body.String()) // who asked may be gone
		}
	})
}
