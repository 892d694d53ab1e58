package site

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/plan"
)

// zone reads one zone. Only a zone whose substrate and container are sound can
// be held against physics; the rest of its keys are checked all the same.
func (b *builder) zone(v *value) {
	z := Zone{PercentIsHundredths: v.field("percent_is_hundredths").flag}
	s := &z.Settings
	*s = policy.Settings{Site: b.site.Name, Zone: v.name, Location: b.site.Location, Latitude: b.site.Latitude, Longitude: b.site.Longitude,
		ContainerCount: int(v.field("container_count").number), FeedEC: v.field("feed_ec").number,
		Containers: b.containers, Substrates: b.substrates}
	s.Emitters = b.emitters(v.field("emitters"))
	if c := v.field("climate"); c.given() && b.reference(c, b.root.field("climates"), nil, "climate") {
		s.Climate = c.text
	}
	s.Day = b.day(v)
	s.Priorities = b.priorities(v.field("priorities"))
	s.Aeration = hydraulics.Aeration{CriticalAirFilledPorosity: v.field("aeration").field("critical_air_filled_porosity").number,
		ToleratedShare: v.field("aeration").field("tolerated_share").number}
	b.approval(v.field("approval"), &z)

	p := b.profile(v, s)
	s.Probes = b.probes(v.field("probes"), s, p)
	s.Quorum = b.quorum(v.field("quorum"), len(v.field("probes").items))
	s.Limits = b.limits(v.field("limits"), p)
	if p != nil {
		b.runTime(v, s)
		s.Band = b.band(v, p, s.Aeration)
	}
	s.Stages = b.stages(v, p, s.Aeration)
	b.site.Zones = append(b.site.Zones, z)
}

// profile finds the zone's substrate and container and the physics of the two,
// nil when one of them is missing or wrong.
func (b *builder) profile(v *value, s *policy.Settings) *hydraulics.Profile {
	substrate, container := v.field("substrate"), v.field("container")
	sound := substrate.given() && container.given()
	if substrate.given() {
		if !b.reference(substrate, b.root.field("substrates"), hydraulics.BuiltInNames(), "substrate") {
			sound = false
		} else if b.root.field("substrates").item(substrate.text) == nil {
			b.builtIn(substrate)
		}
	}
	if container.given() && !b.reference(container, b.root.field("containers"), nil, "container") {
		sound = false
	}
	if !sound {
		return nil
	}
	var okSubstrate, okContainer bool
	s.Substrate, okSubstrate = b.substrates[substrate.text]
	s.Container, okContainer = b.containers[container.text]
	if !okSubstrate || !okContainer {
		return nil // its own mistake has been reported where it stands
	}
	key := pot{substrate.text, container.text}
	p, done := b.profiles[key]
	if !done {
		var err error
		if p, err = hydraulics.NewProfile(s.Substrate, s.Container); err != nil {
			b.refuse(v, err)
			p = nil
		}
		b.profiles[key] = p
	}
	return p
}

func (b *builder) emitters(v *value) policy.Emitters {
	if v.node == nil {
		return policy.Emitters{}
	}
	return policy.Emitters{PerContainer: int(v.field("per_container").number), FlowLPerH: v.field("flow_l_per_h").number}
}

// shortestDay is the least daytime that a plan can be made for: less is a slip
// of the pen (common practice, no source).
const shortestDay = time.Hour

// day reads the marks of the irrigation day. A day may run past midnight.
func (b *builder) day(zone *value) policy.DayMarks {
	v := zone.field("day")
	start, end := v.field("start"), v.field("end")
	marks := policy.DayMarks{Start: policy.DayMark{Sun: policy.Sunrise}, End: policy.DayMark{Sun: policy.Sunset}}
	if start.text == "" {
		marks.Start = policy.DayMark{AfterMidnight: start.length}
	}
	if end.text == "" {
		marks.End = policy.DayMark{AfterMidnight: end.length}
	}
	if !v.sound() {
		return marks
	}
	if marks.Start.Sun == policy.NotSun && marks.End.Sun == policy.NotSun {
		daytime := end.length - start.length
		if daytime < 0 {
			daytime += 24 * time.Hour
		}
		switch {
		case daytime == 0:
			b.say(end, "the day ends when it starts", "a time after start", "")
		case daytime < shortestDay:
			b.say(end, fmt.Sprintf("the daytime lasts only %s", formatSeconds(daytime.Seconds())), "at least "+formatSeconds(shortestDay.Seconds()), "")
		}
	}
	if v.node == nil {
		v = zone
	}
	b.sun(v, marks)
	return marks
}

// polarCircle is the latitude beyond which the sun, on some days, does not
// rise or set: 90 less the obliquity 23.44 less 0.83 for refraction and radius.
const polarCircle = 65.7

// sun checks that a day by the sun has a place on Earth to see it from.
func (b *builder) sun(at *value, marks policy.DayMarks) {
	if marks.Start.Sun == policy.NotSun && marks.End.Sun == policy.NotSun {
		return
	}
	lat := b.root.field("latitude")
	switch {
	case lat.node == nil:
		b.say(at, "the day is by the sun, and the site has no latitude and longitude", "latitude and longitude at the top of the file",
			"or give day start and end as local times")
	case lat.given() && math.Abs(lat.number) > polarCircle:
		b.warn(at, fmt.Sprintf("at latitude %s the sun does not rise or set on some days", format(lat.number)), "", "give day start and end as local times")
	}
}

// priorities reads a zone's weights over the site's.
func (b *builder) priorities(v *value) plan.Priorities {
	site := b.root.field("priorities")
	weight := func(name string) float64 {
		if w := v.field(name); w.node != nil {
			return w.number
		}
		return site.field(name).number
	}
	return plan.Priorities{Band: weight("band"), Saturation: weight("saturation"), OvernightDryback: weight("overnight_dryback"),
		DrainFraction: weight("drain_fraction"), PoreEC: weight("pore_ec"), Shots: weight("shots")}
}

func (b *builder) approval(v *value, z *Zone) {
	issue, decide, standing := v.field("issue_before_day"), v.field("decide_before_first_shot"), v.field("standing")
	z.Settings.IssueBeforeDay, z.Settings.DecideBeforeFirstShot = issue.length, decide.length
	z.Standing = Standing{Allowed: standing.field("allowed").flag, MaxDays: int(standing.field("max_days").number)}
	if v.sound() && decide.length >= issue.length {
		b.say(decide, fmt.Sprintf("%s is not below issue_before_day %s", formatSeconds(decide.length.Seconds()), formatSeconds(issue.length.Seconds())),
			"an advice that comes before it must be decided", "")
	}
}

// quorum defaults to half of the probes, rounded up: one of one, one of two,
// two of three.
func (b *builder) quorum(v *value, probes int) int {
	if v.node == nil {
		return (probes + 1) / 2
	}
	if v.given() && probes > 0 && int(v.number) > probes {
		b.say(v, fmt.Sprintf("%s is more than the zone's %d probes", format(v.number), probes), fmt.Sprintf("a whole number from 1 to %d", probes), v.key.fallback())
	}
	return int(v.number)
}

// largestInterim is how many times the container's volume max_daily_ml may be.
const largestInterim = 6

// limits reads the hard limits; those left out follow from the container.
func (b *builder) limits(v *value, p *hydraulics.Profile) plan.Limits {
	shot, daily := v.field("max_shot_ml"), v.field("max_daily_ml")
	l := plan.Limits{MaxShotML: shot.number, MaxDailyML: daily.number, MinIntervalMin: v.field("min_interval_min").number,
		OfContainer: plan.LimitsOfContainer{Shot: !shot.given(), Daily: !daily.given()}}
	if !v.sound() {
		return l
	}
	if shot.given() && daily.given() && shot.number > daily.number {
		b.say(shot, fmt.Sprintf("%s is above max_daily_ml %s", format(shot.number), format(daily.number)), "a shot that fits into the day", "")
	}
	if p == nil {
		return l
	}
	volume := p.VolumeML()
	if pores := volume * p.TotalPorosity(); shot.given() && shot.number > pores {
		b.say(shot, fmt.Sprintf("%s mL is more than the pores of the container hold", format(shot.number)), fmt.Sprintf("mL per container up to %s", round(pores, 0)),
			"limits are per container, not per zone")
	}
	if daily.given() && daily.number > largestInterim*volume {
		b.warn(daily, fmt.Sprintf("%s mL is %s times the container's volume", format(daily.number), round(daily.number/volume, 1)), "",
			"limits are per container, not per zone")
	}
	return l.For(p)
}

// runTime warns of a shot that takes longer than the time between two: a controller
// would have to start the next before the last has ended.
func (b *builder) runTime(zone *value, s *policy.Settings) {
	v := zone.field("limits")
	flow := s.Emitters.FlowMLPerS()
	if !v.sound() || !(flow > 0) {
		return
	}
	run := s.Limits.MaxShotML / flow / 60
	if run <= s.Limits.MinIntervalMin {
		return
	}
	at := v
	if v.node == nil {
		at = zone
	}
	b.warn(pick(at, v.field("max_shot_ml"), v.field("min_interval_min")),
		fmt.Sprintf("the largest shot, %s mL, runs for %s min and shots are %s min apart", format(s.Limits.MaxShotML), round(run, 1), format(s.Limits.MinIntervalMin)),
		"a shot that ends before the next may begin", "lower max_shot_ml, or raise min_interval_min")
}

// stages reads the bands by date.
func (b *builder) stages(zone *value, p *hydraulics.Profile, a hydraulics.Aeration) []policy.Stage {
	var stages []policy.Stage
	for _, v := range zone.field("stages").items {
		from := v.field("from")
		stage := policy.Stage{Name: v.field("name").text}
		if from.given() {
			day, err := time.ParseInLocation(time.DateOnly, from.text, b.site.Location)
			if err != nil {
				b.say(from, quote(from.text)+" is not a date", from.key.expected(), "")
			}
			stage.From = day
			if n := len(stages); n > 0 && !stages[n-1].From.IsZero() && !day.After(stages[n-1].From) {
				b.say(from, fmt.Sprintf("%s is not after the stage before it, %s", from.text, stages[n-1].From.Format(time.DateOnly)), "stages in the order of their dates", "")
			}
		}
		if p != nil {
			stage.Band = b.stageBand(zone, v, p, a)
		}
		stages = append(stages, stage)
	}
	slices.SortStableFunc(stages, func(x, y policy.Stage) int { return x.From.Compare(y.From) })
	return stages
}

// zoneNames lists the zones of the file, sound or not, sorted.
func (b *builder) zoneNames() []string {
	return slices.SortedFunc(slices.Values(b.root.field("zones").itemNames()), strings.Compare)
}
