package wire

import (
	"fmt"
	"time"

	"github.com/go-json-experiment/json"
)

// The two statuses.
const (
	Online  = "online"
	Offline = "offline"
)

// Status is a site's `status`. The last will is the same with Offline; so is what
// the daemon says at its end, but Ended.
type Status struct {
	Status    string    `json:"status"` // online, offline
	Version   string    `json:"version"`
	StartedAt time.Time `json:"started_at"`
	Instance  string    `json:"instance,omitzero"` // tells two daemons apart: client id and a random ending, new with each start
	Ledger    string    `json:"ledger,omitzero"`   // whose records it keeps, the same through all starts
	Ended     bool      `json:"ended,omitzero"`    // offline in order; the will lacks it, for its daemon may be back
}

// Marshal gives the published bytes.
func (s Status) Marshal() ([]byte, error) {
	s.StartedAt = instant(s.StartedAt)
	return marshal("status", s)
}

// ParseStatus reads a published status.
func ParseStatus(payload []byte) (Status, error) {
	var s Status
	if err := json.Unmarshal(payload, &s); err != nil {
		return s, fmt.Errorf("status: %w; expected what this program publishes", err)
	}
	if s.Status != Online && s.Status != Offline {
		return s, fmt.Errorf("status: %q is neither; expected online or offline", s.Status)
	}
	return s, nil
}
