// Package diagnose tells a real root limitation from its lookalikes: it weighs
// the causes of trouble against what a zone shows over hours and days, says how
// steady the zone's drinking is, and how long its container will do.
//
// Entry point: Memory. It is told what an observation completed (Happened), what
// people did and wrote (Said, Disturbed), how the zone is every five minutes
// (Look) and that an irrigation day begins (Day); Findings gives what is likely
// wrong. Outgrow and Compare look ahead.
package diagnose

import "rhizostat/policy/learning"

// Memory is what is kept of a zone from day to day: plain data of fixed size,
// part of the snapshot. The zero value knows nothing.
type Memory struct {
	Belief    Belief
	Baselines Baselines
	Today     Collector
	Fast      Fast
	Steady    Steady
	Trend     Trend
	Size      Size
	Inspected int64 // the trouble (its SinceMs) that people were sent to look at
	AskedMs   int64 // when
	CropMs    int64 // when shoots were last told to be pruned, or the crop to have ended
}

// Happened takes what an observation completed.
func (m *Memory) Happened(ev *learning.Events, _ int64) {
	m.Today.happened(ev)
	m.Steady.happened(ev)
}

// Look takes the zone as it is; the front door calls it every five minutes.
func (m *Memory) Look(in *Inputs, atMs int64) {
	m.Fast.Dry.look(in, atMs)
	m.Belief.Held = m.Fast.Dry.SinceMs != 0
	m.Belief.fade(atMs)
	if in.Current {
		m.Today.look(in, atMs)
	}
	m.Steady.look(in)
	m.Fast.look(in, atMs, &m.Baselines, &m.Belief)
	m.Today.Lifted = max(m.Today.Lifted, m.Fast.Lifted.Up)
	if m.Baselines.young() {
		m.Belief.young()
	}
}

// Day takes the start of an irrigation day: the finished day is weighed.
func (m *Memory) Day(in *Inputs, atMs int64) {
	f := m.Today.finish(in)
	m.Fast.Shots.finish(in, &f, atMs)
	m.Belief.fade(atMs)
	m.Steady.day(&f, in.Learned.AheadLog, atMs)
	m.Trend.day(&f)
	m.sizes(&f, in, float64(m.Today.Begin), atMs)
	f.StandsWet = m.Fast.Wet.day(&f)
	m.Baselines.weigh(&f, &m.Belief, atMs)
	m.Today = Collector{AskedBefore: m.Today.Asked}
}

// Known is how many finished days of the zone as it is now are known, of those needed
// before anything is said of its roots.
func (m *Memory) Known() (days, needed int) {
	return min(int(m.Baselines.Of[Peak].Days), youngDays), youngDays
}
