package wire

import (
	"bytes"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
)

// Verdict is what a person says of an advice.
type Verdict string

// The verdicts.
const (
	Approve  Verdict = "approve"
	Reject   Verdict = "reject"
	Withdraw Verdict = "withdraw"
)

// Decision is a person's decision on one advice.
type Decision struct {
	Advice   string  `json:"advice"`
	Digest   string  `json:"digest"`
	Decision Verdict `json:"decision"`
	By       string  `json:"by"`
	Note     string  `json:"note,omitzero"`
	Covers   *Covers `json:"covers,omitzero"`
}

// Covers are the limits inside which one approval stands for later advice.
type Covers struct {
	Until        time.Time `json:"until"`
	MaxVolumeML  int       `json:"max_volume_ml"` // of a day, per container
	MaxShotML    int       `json:"max_shot_ml"`   // per container
	EarliestShot ClockTime `json:"earliest_shot"` // local time
	LatestShot   ClockTime `json:"latest_shot"`   // local time
}

// ClockTime is a local time of day, "06:30", as minutes after midnight.
type ClockTime int16

// String gives it as it is on the wire.
func (c ClockTime) String() string { return fmt.Sprintf("%02d:%02d", int(c)/60, int(c)%60) }

// MarshalText gives it as it is on the wire.
func (c ClockTime) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText reads "06:30".
func (c *ClockTime) UnmarshalText(b []byte) error {
	t, err := time.Parse("15:04", string(b))
	if err != nil || len(b) != len("15:04") {
		return fmt.Errorf("%q is not a time of day; expected hours and minutes as in 06:30", b)
	}
	*c = ClockTime(t.Hour()*60 + t.Minute())
	return nil
}

// Limits of what people send. Longer ones are refused, never cut: a cut note
// would be on record as something nobody wrote.
const (
	MaxDecision = 16 << 10 // bytes of a decision or an event
	maxBy       = 64       // bytes of a name
	maxNote     = 2000     // bytes of a note
)

// coversWire tells a limit that is missing from one that is zero.
type coversWire struct {
	Until        *time.Time `json:"until"`
	MaxVolumeML  *int       `json:"max_volume_ml"`
	MaxShotML    *int       `json:"max_shot_ml"`
	EarliestShot *ClockTime `json:"earliest_shot"`
	LatestShot   *ClockTime `json:"latest_shot"`
}

// ParseDecision reads a plain decision, strict about types and required
// members and lenient about unknown ones. What could be read is returned even
// with an error, so that the answer can name it.
func ParseDecision(payload []byte) (Decision, error) {
	var in struct {
		Decision
		Covers *coversWire `json:"covers"`
	}
	if len(payload) > MaxDecision {
		return in.Decision, fmt.Errorf("decision: it has %d bytes; expected at most %d", len(payload), MaxDecision)
	}
	if err := isObject("decision", payload); err != nil {
		return in.Decision, err
	}
	if err := json.Unmarshal(payload, &in); err != nil {
		return in.Decision.bounded(), fmt.Errorf(`decision: %w; expected {"advice","digest","decision","by"} as strings, with "note" and "covers" if needed`, err)
	}
	d := in.Decision
	if err := d.check(); err != nil {
		return d.bounded(), err
	}
	if in.Covers != nil {
		covers, err := in.Covers.complete()
		if err != nil {
			return d, err
		}
		if d.Decision != Approve {
			return d, fmt.Errorf("decision: covers with %q; only an approval can stand for later advice; leave covers out", d.Decision)
		}
		d.Covers = covers
	}
	return d, nil
}

func (d *Decision) check() error {
	switch {
	case d.Advice == "":
		return fmt.Errorf("decision: advice is missing; expected the id of the advice decided on, as published")
	case len(d.Advice) > maxID:
		return fmt.Errorf("decision: advice has %d bytes; expected the id of an advice, as published", len(d.Advice))
	case !isDigest(d.Digest):
		return fmt.Errorf("decision: digest %.80q is not a digest; expected sha-256: and 64 hexadecimal digits, as in approval.digest of the advice", d.Digest)
	case d.Decision != Approve && d.Decision != Reject && d.Decision != Withdraw:
		return fmt.Errorf("decision: decision %.80q is unknown; expected approve, reject or withdraw", d.Decision)
	}
	return checkPerson("decision", d.By, d.Note)
}

// bounded empties what is too long to be repeated in an answer.
func (d Decision) bounded() Decision {
	if len(d.Advice) > maxID {
		d.Advice = ""
	}
	if len(d.By) > maxBy {
		d.By = ""
	}
	switch d.Decision {
	case Approve, Reject, Withdraw:
	default:
		d.Decision = ""
	}
	return d
}

func (c *coversWire) complete() (*Covers, error) {
	missing := ""
	switch {
	case c.Until == nil || c.Until.IsZero():
		missing = "until"
	case c.MaxVolumeML == nil:
		missing = "max_volume_ml"
	case c.MaxShotML == nil:
		missing = "max_shot_ml"
	case c.EarliestShot == nil:
		missing = "earliest_shot"
	case c.LatestShot == nil:
		missing = "latest_shot"
	}
	if missing != "" {
		return nil, fmt.Errorf("decision: covers.%s is missing; expected until, max_volume_ml, max_shot_ml, earliest_shot and latest_shot: an approval that stands for later advice needs all its limits", missing)
	}
	if y := c.Until.UTC().Year(); y < 1970 || y > 9999 {
		return nil, fmt.Errorf("decision: covers.until is in the year %d; expected a time between 1970 and 9999", y)
	}
	if *c.MaxVolumeML < 0 || *c.MaxShotML < 0 {
		return nil, fmt.Errorf("decision: covers has a limit below 0 (max_volume_ml %d, max_shot_ml %d); expected mL per container", *c.MaxVolumeML, *c.MaxShotML)
	}
	if *c.EarliestShot >= *c.LatestShot {
		return nil, fmt.Errorf("decision: covers.earliest_shot %s is not before latest_shot %s; expected two local times of one day", *c.EarliestShot, *c.LatestShot)
	}
	return &Covers{c.Until.UTC(), *c.MaxVolumeML, *c.MaxShotML, *c.EarliestShot, *c.LatestShot}, nil
}

// Marshal gives the bytes to publish or to sign.
func (d *Decision) Marshal() ([]byte, error) { return marshal("decision", d) }

func isObject(where string, payload []byte) error {
	if b := bytes.TrimLeft(payload, " \t\r\n"); len(b) == 0 || b[0] != '{' {
		return fmt.Errorf("%s: the payload is not a JSON object (%.20q); expected {...}", where, payload)
	}
	return nil
}

func isDigest(s string) bool {
	hex, ok := strings.CutPrefix(s, digestPrefix)
	if !ok || len(hex) != 64 {
		return false
	}
	for i := range len(hex) {
		if c := hex[i]; !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f') {
			return false
		}
	}
	return true
}

// checkPerson checks who and why of a decision or an event.
func checkPerson(where, by, note string) error {
	switch {
	case by == "":
		return fmt.Errorf("%s: by is missing; expected the name of the person", where)
	case len(by) > maxBy || !printable(by):
		return fmt.Errorf("%s: by %.80q is not a name; expected at most %d bytes of printable text", where, by, maxBy)
	case len(note) > maxNote:
		return fmt.Errorf("%s: note has %d bytes; expected at most %d", where, len(note), maxNote)
	}
	return nil
}

func printable(s string) bool {
	for _, r := range s {
		if r < ' ' || r == 0x7f || r == utf8.RuneError {
			return false
		}
	}
	return true
}
