package wire

import (
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
)

// Changes are what the desk decided in one step, as it must be made durable
// before any of it is published.
type Changes struct {
	Advice    []AdviceRecord
	Moves     []Move
	Decisions []DecisionRecord
	Covers    []CoverRecord
	Forgotten []Forgotten
}

// Empty tells whether there is nothing to record.
func (c *Changes) Empty() bool {
	return len(c.Advice) == 0 && len(c.Moves) == 0 && len(c.Decisions) == 0 && len(c.Covers) == 0 && len(c.Forgotten) == 0
}

// Add puts later changes behind these.
func (c *Changes) Add(later Changes) {
	c.Advice = append(c.Advice, later.Advice...)
	c.Moves = append(c.Moves, later.Moves...)
	c.Decisions = append(c.Decisions, later.Decisions...)
	c.Covers = append(c.Covers, later.Covers...)
	c.Forgotten = append(c.Forgotten, later.Forgotten...)
}

// Forgotten is an advice that the desk needs no longer, not even after a
// restart. The ledger keeps it as history.
type Forgotten struct{ Site, Zone, Advice string }

// AdviceRecord is an advice as it stands now; the ledger keeps the last one of
// each id.
type AdviceRecord struct {
	Advice   *Advice  // never changed once it is in a record
	Sequence int64    // order of issue within the zone, from 1
	Taken    []string // hashes of the decisions that were accepted on it
}

// Move is one move of an approval; the ledger keeps all of them. The first one
// of an advice comes from the empty state.
type Move struct {
	Site, Zone string
	Advice     string
	Digest     string
	From, To   policy.ApprovalState
	At         time.Time
	By         string // a person, empty when time or a newer advice moved it
	Note       string
	Under      string // of an approval by a standing one
}

// Approval gives the move as the engine takes it.
func (m *Move) Approval() policy.Approval {
	return policy.Approval{Advice: m.Advice, State: m.To, Note: m.Note}
}

// DecisionRecord is a decision with its answer; the ledger keeps each that was
// accepted, and of those refused the first of a day.
type DecisionRecord struct {
	Site, Zone string
	Decision   Decision
	Result     Result
	Hash       string // SHA-256 of the decision's JSON, hex: a signed one is taken once
	Signed     bool
}

// CoverRecord is a standing approval; the ledger keeps the last one of each
// advice that it was given with.
type CoverRecord struct {
	Site, Zone string
	Advice     string        // the advice that was approved with it; its name
	Digest     string        // of that advice: who ends it must name it
	Action     advice.Action // of that advice: it covers no other
	By         string
	At         time.Time
	Limits     Covers
	Live       bool // false: it has ended
	EndedBy    string
	EndedAt    time.Time
}
