package wire

import (
	"fmt"
	"math"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"rhizostat/policy"
)

// Event is something a person did to a zone.
type Event struct {
	Time      time.Time `json:"time"`
	Kind      string    `json:"kind"`
	By        string    `json:"by"`
	Note      string    `json:"note,omitzero"`
	Container string    `json:"container,omitzero"`
	Substrate string    `json:"substrate,omitzero"`
	VolumeML  *float64  `json:"volume_ml,omitzero"` // mL per container
	Probe     string    `json:"probe,omitzero"`
	HeightCM  *float64  `json:"height_cm,omitzero"` // above the container's bottom
}

// eventKinds are the kinds in the contract's order.
var eventKinds = [...]string{
	policy.Transplanted, policy.RootsDisturbed, policy.ContainerChanged, policy.SubstrateChanged,
	policy.WateredByHand, policy.ProbeMoved, policy.ShootsPruned, policy.CropEnded,
}

// Bounds of what a person can have done to one container.
const (
	maxHandML   = 100_000 // mL; common practice, no source: the largest pots hold about 100 L
	maxHeightCM = 100     // above the bottom; a container is at most 60 cm of fill
)

// ParseEvent reads an event, strict about types and what its kind needs and
// lenient about unknown members. Time may be RFC 3339 or seconds since 1970;
// an event without one has its arrival's.
func ParseEvent(payload []byte, arrived time.Time) (Event, error) {
	var in struct {
		Event
		Time jsontext.Value `json:"time"`
	}
	if len(payload) > MaxDecision {
		return in.Event, fmt.Errorf("event: it has %d bytes; expected at most %d", len(payload), MaxDecision)
	}
	if err := isObject("event", payload); err != nil {
		return in.Event, err
	}
	if err := json.Unmarshal(payload, &in); err != nil {
		return in.Event, fmt.Errorf(`event: %w; expected {"time","kind","by"} with what the kind needs`, err)
	}
	e := in.Event
	at, err := parseTime("event", in.Time, arrived)
	if err != nil {
		return e, err
	}
	e.Time = at
	return e, e.check()
}

func (e *Event) check() error {
	known := false
	for _, k := range eventKinds {
		known = known || k == e.Kind
	}
	if !known {
		return fmt.Errorf("event: kind %.80q is unknown; expected one of %v", e.Kind, eventKinds)
	}
	if err := checkPerson("event", e.By, e.Note); err != nil {
		return err
	}
	for _, id := range [...]string{e.Container, e.Substrate, e.Probe} {
		if len(id) > maxID || !printable(id) {
			return fmt.Errorf("event: %.80q is not a name of the site file; expected at most %d bytes of printable text", id, maxID)
		}
	}
	if v := e.VolumeML; e.Kind == policy.WateredByHand && (v == nil || !(*v > 0 && *v <= maxHandML)) {
		return fmt.Errorf("event: volume_ml of %s is %s; expected mL per container, above 0 and at most %d", e.Kind, show(v), maxHandML)
	}
	if e.Kind != policy.ProbeMoved {
		return nil
	}
	if e.Probe == "" {
		return fmt.Errorf("event: probe is missing; expected the id of the probe that was moved")
	}
	if h := e.HeightCM; h == nil || !(*h >= 0 && *h <= maxHeightCM) {
		return fmt.Errorf("event: height_cm of %s is %s; expected cm above the container's bottom, 0 to %d", e.Kind, show(h), maxHeightCM)
	}
	return nil
}

func show(v *float64) string {
	if v == nil {
		return "missing"
	}
	return fmt.Sprint(*v)
}

// Operator gives the event as the engine takes it.
func (e *Event) Operator() policy.OperatorEvent {
	o := policy.OperatorEvent{
		Kind: e.Kind, At: e.Time, By: e.By, Note: e.Note,
		Container: e.Container, Substrate: e.Substrate, Probe: e.Probe,
	}
	if e.VolumeML != nil {
		o.VolumeML = *e.VolumeML
	}
	if e.HeightCM != nil {
		o.HeightCM = *e.HeightCM
	}
	return o
}

// Marshal gives the bytes to publish.
func (e *Event) Marshal() ([]byte, error) { return marshal("event", e) }

// Years that a time on the wire may lie in: outside, RFC 3339 and the ledger's
// milliseconds would still hold it, but no clock of a facility says so.
const (
	firstYear = 1970
	lastYear  = 2200
)

// parseTime reads RFC 3339 or seconds since 1970; without a value it gives
// otherwise.
func parseTime(where string, v jsontext.Value, otherwise time.Time) (time.Time, error) {
	if len(v) == 0 || v.Kind() == 'n' {
		return otherwise, nil
	}
	var at time.Time
	switch v.Kind() {
	case '"':
		if err := json.Unmarshal(v, &at); err != nil {
			return otherwise, fmt.Errorf("%s: time %.80s: expected RFC 3339, as in 2026-05-04T06:05:00Z", where, v)
		}
	case '0':
		var s float64
		if err := json.Unmarshal(v, &s); err != nil || math.Abs(s) > 1e11 {
			return otherwise, fmt.Errorf("%s: time %.80s is out of range; expected seconds since 1970", where, v)
		}
		at = time.UnixMilli(int64(math.Round(s * 1000)))
	default:
		return otherwise, fmt.Errorf("%s: time is %.80s; expected RFC 3339, or seconds since 1970", where, v)
	}
	at = at.UTC()
	if at.Year() < firstYear || at.Year() > lastYear {
		return otherwise, fmt.Errorf("%s: time %s is out of range; expected a year from %d to %d", where, at.Format(time.RFC3339), firstYear, lastYear)
	}
	return at, nil
}
