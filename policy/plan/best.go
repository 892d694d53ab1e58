package plan

import (
	"math"
	"time"

	"rhizostat/policy/advice"
)

// Best plans the irrigation day: the cheapest plan found, in numbers a
// controller takes, with its reasons. It panics where the request is impossible.
//
// A zone below quorum, or one whose limits allow no shot, gets an inspect.
func Best(r *Request, s *Scratch) Proposal {
	s.begin(r)
	if !r.Quorum {
		return Proposal{Action: advice.Inspect, Reasons: advice.InspectQuorum(r.Healthy, r.Needed, "")}
	}
	none := candidate{none: true}
	dry := s.evaluate(&none, allMembers)
	if len(s.volumes) == 0 {
		return s.noShot(dry)
	}
	c, _ := s.search()
	wet := s.evaluate(&c, allMembers)
	waits := dry.Cost <= wet.Cost-wet.Change && dry.Band+dry.Saturation <= wet.Band+wet.Saturation+mayWait
	if len(s.schedule) == 0 || waits && s.members[0].start >= s.band.RefillPoint {
		return s.withhold(&none)
	}
	if s.hasBefore {
		c, wet = s.keepNumbers(c, wet)
	}
	return s.irrigate(&c, wet)
}

// Dry plans the irrigation day without water, for a guard that lets none pass. It
// panics where the request is impossible.
func Dry(r *Request, s *Scratch) Proposal {
	s.begin(r)
	return s.withhold(&candidate{none: true})
}

// mayWait is how much longer a day without water may be out of the band than
// one with it, in hours: no night or drain on target is worth a zone that dries
// out. Common practice, no source.
const mayWait = 0.5

// sameIsFine is how much more yesterday's numbers may cost before they change,
// in hours outside the band. Common practice, no source.
const sameIsFine = 0.2

// keepNumbers takes yesterday's numbers where they do nearly as well.
func (s *Scratch) keepNumbers(c candidate, score Score) (candidate, Score) {
	same := s.before
	s.bound(&same)
	for lean := range s.leans {
		same.lean = lean
		if got := s.evaluate(&same, allMembers); len(s.schedule) > 0 && got.Cost <= score.Cost+sameIsFine {
			return same, got
		}
	}
	return c, score
}

// irrigate writes the chosen plan out.
func (s *Scratch) irrigate(c *candidate, score Score) Proposal {
	s.evaluate(c, allMembers) // the schedule and what is expected are its own again
	g, v := &s.grid, s.volumes[c.shot]
	sp := &advice.Setpoints{
		FirstShotAt: g.at(c.first), LastShotBy: g.at(c.last),
		TriggerWaterContent: ofTicks(c.trigger), TargetWaterContent: ofTicks(c.target),
		ShotVolumeML: v.ml, RunTimeS: v.runS,
		MinIntervalS:  s.intervalOf(c.shot) * 300,
		DrainFraction: math.Round(100*s.salt.wanted) / 100,
	}
	sp.MaxVolumeML = s.maxVolume(v.ml)
	sp.Schedule = make([]advice.Shot, 0, len(s.schedule))
	for _, shot := range s.schedule {
		sp.Schedule = append(sp.Schedule, advice.Shot{At: g.at(shot.step), VolumeML: v.ml, RunTimeS: v.runS})
	}
	s.probeTriggers(sp)
	p := Proposal{Action: advice.Irrigate, Setpoints: sp, Score: score}
	if s.salt.leach {
		p.Action = advice.Leach
	}
	p.Expected = s.expectedOf(&s.expected)
	s.explain(c, &p)
	return p
}

// headroom is what the day's volume allows beyond what the thirsty member asks
// for by trigger: hotter days come, and the trigger then only follows the crop
// (common practice, no source).
const headroom = 1.15

// maxVolume is the day's volume: what the thirstiest member asks for by trigger
// with some headroom and one shot more, within the site's limit, in whole shots
// on top of what has been given.
func (s *Scratch) maxVolume(shotML int) int {
	r := s.req
	shots := math.Ceil(headroom*s.mostGiven/float64(shotML)-1e-9) + 1
	shots = math.Max(shots, float64(len(s.schedule)))
	most := math.Floor(s.capML / float64(shotML))
	return int(math.Ceil(r.GivenML) + math.Min(shots, most)*float64(shotML))
}

func (s *Scratch) probeTriggers(sp *advice.Setpoints) {
	for _, p := range s.req.Probes {
		reading := p.Reading(sp.TriggerWaterContent)
		if math.IsNaN(reading) || reading <= 0 || reading >= 1 {
			continue // the probe sits where it cannot tell
		}
		sp.TriggerByProbe = append(sp.TriggerByProbe, advice.ProbeTrigger{
			Probe: p.ID, WaterContent: ofTicks(ticksDown(reading)),
		})
	}
}

// expectedOf says what is expected of the day as planned.
func (s *Scratch) expectedOf(o *outcome) *advice.Expected {
	return &advice.Expected{
		PeakWaterContent: round4(o.peak), TroughWaterContent: round4(o.trough),
		OvernightDryback:     round4(o.comingNight),
		MinAirFilledPorosity: round4(math.Max(0, s.req.TotalPorosity-o.peak)),
		SaturationS:          int(math.Round(o.saturatedH * 3600)),
		UptakeML:             int(math.Round(o.uptake)), DrainML: int(math.Round(o.drain)),
	}
}

func round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }

// withhold writes a day without water out, with the trigger that ends it.
func (s *Scratch) withhold(none *candidate) Proposal {
	score := s.evaluate(none, allMembers)
	sp := &advice.Setpoints{TriggerWaterContent: ofTicks(s.endOfWithhold())}
	s.probeTriggers(sp)
	p := Proposal{Action: advice.Withhold, Setpoints: sp, Score: score, Expected: s.expectedOf(&s.expected)}
	s.explainWithhold(&p)
	s.explainUptake(&p)
	s.explainLow(&p)
	s.explainRecovery(&p)
	return p
}

// endOfWithhold is the trigger at which water is due again, in ticks: a quarter
// of the band above the refill point (common practice, no source). A controller
// goes back to its own programme there, so it lies low; the next advice comes
// before.
//
// A zone that is below that already is to get no water yet, so it lies below the zone: a
// trigger that is reached gives the water back at once.
func (s *Scratch) endOfWithhold() int {
	end := ticksUp(s.band.RefillPoint + 0.25*s.band.Width())
	lowest := math.Min(s.req.Situation.WaterContent, s.members[0].start)
	return max(1, min(end, ticksDown(lowest-s.edges.own)-1))
}

// noShot answers limits that leave no shot to give.
func (s *Scratch) noShot(dry Score) Proposal {
	r := s.req
	if r.GivenML > 0 && r.Limits.MaxShotML >= 1 && r.Limits.MaxDailyML >= 1 { // the day's volume is used up
		p := s.withhold(&candidate{none: true})
		p.LimitBinds = s.expected.belowH > 0
		p.Reasons = append(p.Reasons, advice.Say("limit-allows-no-shot", advice.Volume(r.Limits.MaxShotML), advice.Volume(r.Limits.MaxDailyML), advice.Volume(r.GivenML)))
		return p
	}
	return Proposal{Action: advice.Inspect, Score: dry, LimitBinds: true, Reasons: append(advice.InspectLimits(),
		advice.Say("limit-allows-no-shot", advice.Volume(r.Limits.MaxShotML), advice.Volume(r.Limits.MaxDailyML), advice.Volume(r.GivenML)))}
}

// spanH makes a duration of hours.
func spanH(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
