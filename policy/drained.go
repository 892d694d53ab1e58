package policy

import (
	"math"
	"time"

	"rhizostat/policy/advice"
)

// What a plan by trigger drains hangs on a few thousandths between its trigger
// and the water content at which shots begin to run through, closer than probes
// and plateaus tell them. What really drained tells: a day that drained more than
// its plan said began to drain that much lower. By clock the day's water less the
// day's uptake drains wherever that begins, so nothing is learned from it. Nor is
// where drain is not gauged: the balance is then as far off as the plan, and water
// taken away for drain that never was leaves the zone dry.
const (
	// drainShare is how much of a day's miss is taken back in the plans that
	// follow: most of a lasting one within four days, a third of an odd one
	// (integral action; common practice, no source).
	drainShare = 0.35
	// mostDrainShift bounds what is learned and mostDrainStep how far one day
	// moves it, m3/m3: beyond some 0.02 it is the probes or the pot that changed.
	mostDrainShift = 0.02
	mostDrainStep  = 0.005
)

// drained compares what drained on the irrigation day that has just ended with
// what its plan expected.
func (z *Zone) drained() {
	p := &z.m.Plans
	from, to := p.DrainDayMs, z.today.fromMs
	if from == to {
		return
	}
	p.DrainDayMs = to
	// Two days around a change of the clock are an hour longer and shorter.
	if d := time.Duration(to-from) * time.Millisecond; from == 0 || d < 22*time.Hour || d > 26*time.Hour || !z.ofOnePot(to) {
		return
	}
	q, sums := z.stoodFor(from, to), z.m.Learned.Sums24h()
	if q == nil || z.byClock() > 0.5 || !sums.DrainReported || !(sums.IrrigationML >= float64(q.Advice.Setpoints.ShotVolumeML)) {
		return
	}
	rise := z.m.Learned.Capture.Mean * float64(q.Advice.Setpoints.ShotVolumeML) / z.ground.constants.VolumeML
	step := drainShare * unanswered((q.Drain-sums.DrainFraction)*rise, z.m.Learned.Capacity.Mean-q.Holds)
	step = math.Min(math.Max(step, -mostDrainStep), mostDrainStep)
	p.DrainShift = math.Min(math.Max(p.DrainShift+step, -mostDrainShift), mostDrainShift)
}

// unanswered is what is left of a shift that a day asks for once the capacity has
// moved since its plan was made: the first days teach both at once, and what both
// answered would be answered twice.
func unanswered(shift, moved float64) float64 {
	if shift*(shift-moved) <= 0 {
		return 0
	}
	return shift - moved
}

// stoodFor is the plan with water that was approved for the whole of a day; nil
// where there was none or another took over.
func (z *Zone) stoodFor(from, to int64) *planned {
	var found *planned
	for i := range z.plans {
		q := &z.plans[i]
		begins := q.Advice.ValidFrom.UnixMilli()
		if !q.Stood || begins < from || begins >= to {
			continue
		}
		if found != nil || begins != from || q.Advice.IssuedAt.UnixMilli() > from || q.Advice.Action == advice.Withhold {
			return nil
		}
		found = q
	}
	return found
}
