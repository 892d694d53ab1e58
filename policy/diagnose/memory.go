// Package diagnose tells a real root limitation from its lookalikes: it weighs
// the causes of trouble against what a zone shows over days, and says how
// steady the zone's drinking is.
package diagnose

import (
	"math"

	"rhizostat/policy/advice"
	"rhizostat/policy/learning"
)

// Memory is what is kept of a zone from day to day. The zero value knows
// nothing.
type Memory struct {
	DisturbedMs int64   // 0: never
	Depths      int32   // drybacks seen
	DepthMean   float64 // of their depth, m3/m3
	DepthVar    float64
}

// Finding is one possible cause of trouble.
type Finding struct {
	Cause       string
	Probability float64
	SinceMs     int64
	Evidence    []advice.Reason
	LookAt      string
}

// Happened takes what an observation completed.
func (m *Memory) Happened(ev *learning.Events, _ int64) {
	if ev.Overnight <= 0 {
		return
	}
	m.Depths++
	w := math.Max(1/float64(m.Depths), 0.2)
	d := ev.Overnight - m.DepthMean
	m.DepthMean += w * d
	m.DepthVar = (1 - w) * (m.DepthVar + w*d*d)
}

// Said takes what a person did or wrote.
func (m *Memory) Said(string, string, int64) {}

// Disturbed begins a recovery.
func (m *Memory) Disturbed(atMs int64) { m.DisturbedMs = atMs }

// Recovering reports whether the zone is still settling.
func (m *Memory) Recovering(atMs int64) bool {
	const day = 24 * 3600 * 1000
	return m.DisturbedMs != 0 && atMs-m.DisturbedMs < 7*day && m.Stability() < 0.8
}

// Stability is how alike the overnight drybacks are: 1 where all are the same.
func (m *Memory) Stability() float64 {
	if m.Depths < 2 || m.DepthMean <= 0 {
		return 0
	}
	return 1 / (1 + math.Sqrt(m.DepthVar)/m.DepthMean)
}

// Findings is empty while nothing is known.
func (m *Memory) Findings(int64) []Finding { return nil }
