package guard

import (
	"math"
	"time"

	"rhizostat/policy/advice"
)

// runTolerance is how far the flow times the run time may be off the volume, as
// a share of it, or runSlackML.
const (
	runTolerance = 0.0025
	runSlackML   = 0.05
)

// lowerShots lowers the shot and the schedule's shots to most mL and returns the
// largest before and after. What is lowered is whole seconds of the emitters
// again.
func lowerShots(sp *advice.Setpoints, in *Input, most float64) (was, now int) {
	limit := whole(most)
	lower := func(ml, runS *int) {
		was = max(was, *ml)
		if *ml > limit {
			*ml, *runS = largestShot(limit, *runS, in.FlowMLPerS)
		}
		now = max(now, *ml)
	}
	lower(&sp.ShotVolumeML, &sp.RunTimeS)
	for i := range sp.Schedule {
		lower(&sp.Schedule[i].VolumeML, &sp.Schedule[i].RunTimeS)
	}
	kept := sp.Schedule[:0]
	for _, shot := range sp.Schedule {
		if shot.VolumeML > 0 {
			kept = append(kept, shot)
		}
	}
	sp.Schedule = kept
	return was, now
}

// largestShot is the largest volume of at most limit mL that is whole seconds of
// the emitters, with its run time, which is never above the one before.
func largestShot(limit, runS int, flow float64) (ml, seconds int) {
	if flow <= 0 {
		return limit, 0
	}
	for ml = limit; ml > 0 && ml > limit-limit/4-200; ml-- {
		s := runTimeOf(ml, flow)
		if s >= 1 && math.Abs(float64(s)*flow-float64(ml)) <= math.Max(runSlackML, runTolerance*float64(ml)) {
			return ml, min(s, runS)
		}
	}
	ml = whole(math.Floor(float64(limit)/flow) * flow)
	return ml, min(runTimeOf(ml, flow), runS)
}

// runTimeOf is the run time that gives a volume, to the nearest second.
func runTimeOf(ml int, flow float64) int {
	return int(math.Min(math.Round(float64(ml)/flow), 1e9))
}

// whole is a volume in whole mL, rounded down.
func whole(ml float64) int { return int(math.Min(math.Max(math.Floor(ml+tickSlack), 0), 1e9)) }

// downTick rounds a water content down to 0.005 m3/m3.
func downTick(x float64) float64 { return math.Floor(x*200+1e-9) / 200 }

// ceilMinute rounds an instant up to a whole minute.
func ceilMinute(t time.Time) time.Time {
	if down := t.Truncate(time.Minute); down.Before(t) {
		return down.Add(time.Minute)
	}
	return t
}

// hold turns an advice into a withhold. The trigger of a withhold is where a
// controller goes back to its own programme: the trigger of a plan with water,
// high in the band, would give it back within hours, so it is lowered to a quarter
// of the band above the refill point.
func hold(in *Input, v *Verdict) {
	v.Action = advice.Withhold
	withheld(v.Setpoints)
	if !finite(in.RefillPoint) || in.RefillPoint <= 0 || in.RefillPoint >= in.FullPoint {
		return
	}
	most := math.Floor(200*(in.RefillPoint+0.25*(in.FullPoint-in.RefillPoint))) / 200 // whole 0.005 m3/m3
	if most > 0 && v.Setpoints.TriggerWaterContent > most {
		v.Setpoints.TriggerWaterContent, v.Setpoints.TriggerByProbe = most, nil
	}
}

// withheld takes all water out of setpoints.
func withheld(sp *advice.Setpoints) {
	*sp = advice.Setpoints{TriggerWaterContent: sp.TriggerWaterContent, TriggerByProbe: sp.TriggerByProbe}
}
