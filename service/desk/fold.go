package desk

import (
	"fmt"
	"time"

	"rhizostat/service/wire"
)

// Fold puts each advice whose content is still needed into as few bytes as it can be
// kept in until somebody asks for it: once in force or shown, it only waits. The desk
// goes on as without it. It returns how many there were to fold.
func (d *Desk) Fold() (n int, err error) {
	for i, e := range d.entries {
		if e.folded != nil || e.advice.Reasons == nil { // stripped
			continue
		}
		folded, err := e.advice.Fold()
		if err != nil {
			return n, fmt.Errorf("desk %s/%s: %w", d.site, d.zone, err)
		}
		next := *e
		next.folded = folded
		if e.advice.Setpoints != nil {
			next.lastShot = e.advice.Setpoints.LastShotBy
		}
		next.advice = bare(e.advice)
		d.entries[i] = &next
		n++
	}
	return n, nil
}

// bare is an advice without its content.
func bare(a *wire.Advice) *wire.Advice {
	b := *a
	b.Setpoints, b.Expected, b.Reasons, b.Cautions = nil, nil, nil, nil
	return &b
}

// whole is the advice with its content, as far as that was not stripped.
func (e *entry) whole() *wire.Advice {
	if e.folded == nil {
		return e.advice
	}
	a, err := e.folded.Unfold()
	if err != nil {
		panic(fmt.Sprintf("desk: advice %s: %v", e.advice.ID, err)) // it was folded by this process
	}
	return a
}

// payload is the advice as published.
func (e *entry) payload() ([]byte, error) {
	if e.folded == nil {
		return e.advice.Marshal()
	}
	return e.folded.Payload()
}

// lastShotBy is when an advice has no shot left to give; zero for one that never
// had any.
func (e *entry) lastShotBy() time.Time {
	if e.folded == nil {
		return e.advice.Setpoints.LastShotBy
	}
	return e.lastShot
}
