package plan

import (
	"math"

	"rhizostat/policy/forecast"
)

// member is one way the day may turn out within the forecast's spread.
type member struct {
	weight   float64
	uptake   float64 // factor on the expected
	capture  float64
	capacity float64 // m3/m3
	reading  float64 // what the controller reads less the truth, m3/m3
	start    float64 // water content at the first step of the planned day, m3/m3
	peak     float64 // the peak before, m3/m3
}

// tail is the standard normal quantile of the outer members: one day in ten is
// beyond each.
const tail = 1.2816

// The spread: the expected day; a dull and a thirsty one; and two in which the
// zone is wetter and drier than believed, with a capacity and a capture that
// make it worse. The middle weighs as much as the four tails together. The
// first three are enough to tell most candidates apart.
const (
	coarseMembers = 3
	allMembers    = 5
)

var spread = [allMembers]struct{ weight, uptake, water, soil float64 }{
	{0.40, 0, 0, 0},
	{0.15, -1, 0, 0},
	{0.15, 1, 0, 0},
	{0.15, -0.5, 1, -1},
	{0.15, 0.5, -1, 1},
}

// mostWaterSD bounds how far the members' starts lie apart, m3/m3: beyond it the
// quorum is the question, not the plan.
const mostWaterSD = 0.03

// spreadOf makes the members and runs each up to the planned day.
func (s *Scratch) spreadOf(r *Request) {
	sit := r.Situation
	waterSD := math.Min(math.Max(sit.WaterContentSD, 0), mostWaterSD)
	relSD := math.Min(math.Max(sit.UptakeRelSD, 0), 0.8)
	for i, x := range spread {
		m := &s.members[i]
		*m = member{
			weight:  x.weight,
			uptake:  math.Exp(tail * x.uptake * math.Log1p(relSD)),
			capture: clamp(sit.Capture+tail*x.water*math.Max(sit.CaptureSD, 0), 0.05, 1),
			reading: -tail * x.water * waterSD,
		}
		// The capacity was learned through the same probes, so what they are off
		// it is off, too.
		m.capacity = clamp(sit.Capacity+r.CapacityShift-m.reading+tail*x.soil*clamp(sit.CapacitySD, 0, 0.03), 0.02, 1)
		m.start = clamp(sit.WaterContent-m.reading, 0, 1)
		s.toDayStart(r, m)
	}
}

// toDayStart runs a member through the committed shots to the planned day.
func (s *Scratch) toDayStart(r *Request, m *member) {
	b := s.balanceOf(m)
	w, next := m.start, 0
	peak, shotSeen := w, false
	for next < len(r.Committed) && r.Committed[next].Step < 0 {
		next++
	}
	for k := 0; k < s.grid.dayStart; k++ {
		shot := 0.0
		for next < len(r.Committed) && r.Committed[next].Step <= k {
			shot += r.Committed[next].VolumeML
			s.committedLast = max(s.committedLast, k)
			next++
		}
		w, _, _ = b.step(w, shot, s.uptake[k])
		if shot > 0 {
			peak, shotSeen = w, true
		}
		if !shotSeen && w > peak {
			peak = w
		}
	}
	if !shotSeen && r.LastPeak > 0 {
		peak = math.Max(r.LastPeak-m.reading, w)
	}
	m.start, m.peak = w, peak
}

// balance is the forecast's water balance with the numbers of one member, those of
// them that coast asks for beside it.
type balance struct {
	forecast.Balance
	perML, uptake, capacity, fullAt float64
}

func (s *Scratch) balanceOf(m *member) balance {
	sit := *s.req.Situation
	sit.WaterContent, sit.Capture, sit.Capacity = m.start, m.capture, m.capacity
	return balance{sit.Balance(), 1 / sit.VolumeML, m.uptake, m.capacity, sit.UptakeFullAt}
}

// step takes one step with the member's share of the uptake that is expected, mL.
func (b *balance) step(w, shot, expected float64) (water, drained, taken float64) {
	return b.Step(w, shot, expected*b.uptake)
}

func clamp(x, low, high float64) float64 { return math.Min(math.Max(x, low), high) }
