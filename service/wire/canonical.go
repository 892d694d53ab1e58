package wire

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy/advice"
)

// digestPrefix names the hash in a digest.
const digestPrefix = "sha-256:"

// digested is exactly what a digest covers, as published.
type digested struct {
	Action     advice.Action `json:"action"`
	ID         string        `json:"id"`
	Setpoints  *Setpoints    `json:"setpoints,omitzero"`
	Site       string        `json:"site"`
	ValidFrom  time.Time     `json:"valid_from"`
	ValidUntil time.Time     `json:"valid_until"`
	Zone       string        `json:"zone"`
}

// Digest is what a decision names, so that a person approves exactly what was
// shown: "sha-256:" and the lower-case hex of SHA-256 over the canonical JSON
// (RFC 8785) of action, id, setpoints (left out where there are none), site,
// valid_from, valid_until and zone.
func (a *Advice) Digest() (string, error) {
	b, err := marshal("advice "+a.ID, digested{a.Action, a.ID, a.Setpoints, a.Site, a.ValidFrom, a.ValidUntil, a.Zone})
	if err != nil {
		return "", err
	}
	canonical, err := Canonical(b)
	if err != nil {
		return "", fmt.Errorf("advice %s: %w", a.ID, err)
	}
	sum := sha256.Sum256(canonical)
	return digestPrefix + hex.EncodeToString(sum[:]), nil
}

// Canonical gives the canonical form of a JSON value (RFC 8785). A number too
// large for a float64 is not refused here but becomes the largest one, as the
// library has it: nothing that we publish comes near.
func Canonical(b []byte) ([]byte, error) {
	v := jsontext.Value(append([]byte(nil), b...))
	if err := v.Canonicalize(); err != nil {
		return nil, fmt.Errorf("canonical JSON: %w", err)
	}
	return v, nil
}
