package wire

import (
	"fmt"
	"time"

	"github.com/go-json-experiment/json"

	"rhizostat/policy/advice"
)

// Refusal is why a decision was refused: one code, the same in reply, metric
// label and log.
type Refusal string

// The refusals.
const (
	Malformed         Refusal = "malformed"
	UnknownAdvice     Refusal = "unknown-advice"
	WrongDigest       Refusal = "wrong-digest"
	NotPending        Refusal = "not-pending"
	Expired           Refusal = "expired"
	NotSigned         Refusal = "not-signed"
	UnknownDecider    Refusal = "unknown-decider"
	NotAllowed        Refusal = "not-allowed"
	Replayed          Refusal = "replayed"
	LedgerUnavailable Refusal = "ledger-unavailable"
)

// Refusals returns all codes, in a fixed order.
func Refusals() []Refusal {
	return []Refusal{Malformed, UnknownAdvice, WrongDigest, NotPending, Expired, NotSigned, UnknownDecider, NotAllowed, Replayed, LedgerUnavailable}
}

// The results of a decision.
const (
	Accepted = "accepted"
	Refused  = "refused"
)

// Result is what became of a decision. Members that could not be read from a
// malformed one are left out.
type Result struct {
	Advice   string    `json:"advice,omitzero"`
	Decision Verdict   `json:"decision,omitzero"`
	By       string    `json:"by,omitzero"`
	Result   string    `json:"result"` // accepted, refused
	Reason   *Reason   `json:"reason,omitzero"`
	Time     time.Time `json:"time"`
}

// Accept answers a decision that is on record.
func Accept(d Decision, at time.Time) Result {
	return Result{Advice: d.Advice, Decision: d.Decision, By: d.By, Result: Accepted, Time: instant(at)}
}

// Refuse answers a decision that changes nothing, with a refusal of the catalogue.
func Refuse(d Decision, why advice.Reason, at time.Time) Result {
	return Result{
		Advice: d.Advice, Decision: d.Decision, By: d.By, Result: Refused,
		Reason: &Reason{why.Code, why.Text}, Time: instant(at),
	}
}

// Marshal gives the published bytes.
func (r Result) Marshal() ([]byte, error) { return marshal("result of a decision", r) }

// ParseResult reads a published result.
func ParseResult(payload []byte) (Result, error) {
	var r Result
	if err := json.Unmarshal(payload, &r); err != nil {
		return r, fmt.Errorf("result of a decision: %w; expected what this program publishes", err)
	}
	return r, nil
}
