package policy

import (
	"time"

	"rhizostat/policy/sensing"
)

// Event is one thing that happened to a zone. Events come in time order: the
// shell has ordered late ones and refused what is too late; At never goes back.
type Event struct {
	Kind     EventKind
	At       time.Time // engine time, UTC
	Stamp    time.Time // of a Reading: its own time, at most At
	Source   int       // of a Reading: index into Settings.Probes, ZoneWide or Climate
	Values   sensing.Values
	Operator *OperatorEvent // of an Operator event
	Approval *Approval      // of an Approval event
}

// EventKind says which fields of an Event count.
type EventKind uint8

// The kinds.
const (
	Wake       EventKind = iota // time has come to At
	Reading                     // Source reported Values
	Operator                    // a person did something
	Approved                    // the desk moved an advice's approval
	Unrecorded                  // the advice just issued could not be recorded: it does not stand
	Misdated                    // Source reported with a clock that is wrong
)

// Sources of a reading that are not a probe.
const (
	ZoneWide = -1
	Climate  = -2
)

// OperatorEvent is something a person did (kind as on the wire).
type OperatorEvent struct {
	Kind      string
	At        time.Time // when it happened, at most the Event's At; zero: then
	By, Note  string
	Container string  // transplanted, container-changed
	Substrate string  // transplanted, substrate-changed
	VolumeML  float64 // watered-by-hand, per container
	Probe     string  // probe-moved
	HeightCM  float64 // probe-moved
}

// Kinds of operator events.
const (
	Transplanted     = "transplanted"
	RootsDisturbed   = "roots-disturbed"
	ContainerChanged = "container-changed"
	SubstrateChanged = "substrate-changed"
	WateredByHand    = "watered-by-hand"
	ProbeMoved       = "probe-moved"
	ShootsPruned     = "shoots-pruned"
	CropEnded        = "crop-ended"
)

// ApprovalState is where an advice stands with people.
type ApprovalState string

// The states an approval passes through.
const (
	StatePending    ApprovalState = "pending"
	StateApproved   ApprovalState = "approved"
	StateRejected   ApprovalState = "rejected"
	StateExpired    ApprovalState = "expired"
	StateSuperseded ApprovalState = "superseded"
	StateWithdrawn  ApprovalState = "withdrawn"
)

// Approval tells the engine what became of an advice it issued.
type Approval struct {
	Advice string
	State  ApprovalState
	Note   string // of the decision, if a person made the move
}
