package shard

import "time"

const (
	// wallStep is by how much the machine's clock may be set at once without
	// having to say it for a while: slewing and network time stay far below
	// (common practice, no source).
	wallStep = 5 * time.Minute
	// steadyFor is for how long a larger step must last before it is believed
	// (common practice, no source).
	steadyFor = 5 * time.Minute
)

// machine keeps the time of the machine that zones go by in the wall clock. A
// clock that is wrong for one tick must not move a zone's time, which never goes
// back: it is held against what has elapsed by a counter that nobody sets, and a
// large step counts once it has lasted.
type machine struct {
	elapsed func() time.Duration // nil: whatever the clock says is believed

	now  time.Time     // as last believed
	mark time.Duration // elapsed then

	stepped bool          // the clock says something else
	step    time.Duration // by how much
	since   time.Duration // elapsed when it began to
}

// due is what the clock should say now.
func (m *machine) due() time.Time { return m.now.Add(m.elapsed() - m.mark) }

// tick takes what the clock says and gives the time to go by.
func (m *machine) tick(said time.Time) time.Time {
	if m.elapsed == nil {
		return said
	}
	elapsed, due := m.elapsed(), m.due()
	step := said.Sub(due)
	switch {
	case m.now.IsZero(), step.Abs() <= wallStep:
	case !m.stepped || (step-m.step).Abs() > wallStep:
		m.stepped, m.step, m.since = true, step, elapsed
		return due
	case elapsed-m.since < steadyFor:
		return due
	}
	m.now, m.mark, m.stepped = said, elapsed, false
	return said
}

// arrived gives the time to go by of something that came when the clock said so.
func (m *machine) arrived(said time.Time) time.Time {
	if m.elapsed == nil || m.now.IsZero() {
		return said
	}
	if due := m.due(); said.Sub(due).Abs() > wallStep {
		return due
	}
	return said
}

// restamp brings a reading to the time that zones go by. A stamp that is the
// machine's own, or was counted from it, is as wrong as the clock; one of a
// device that keeps its own time is not.
func (m *machine) restamp(t *Telemetry) {
	believed := m.arrived(t.Arrived)
	if off := believed.Sub(t.Arrived); t.At.Sub(t.Arrived).Abs() < t.At.Sub(believed).Abs() {
		t.At = t.At.Add(off)
	}
	t.Arrived = believed
}
