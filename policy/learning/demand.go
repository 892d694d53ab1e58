package learning

import "math"

// DemandState is what the climate asks now and how the day compares with what
// was expected of it.
type DemandState struct {
	Rate       float64 // last told
	ClimateMs  int64   // when, 0: never
	BinSum     float64 // demand times s in the running bin
	BinSeconds float64
	DayMs      int64   // start of the running day of 24 h
	DayUptake  float64 // mL booked since
	Expected   float64 // mL expected of this day when it began, 0: not
	DayVar     float64 // variance of ln(actual/expected), by day
	Days       int32
}

func (d *DemandState) skip(at int64) {
	d.BinSum, d.BinSeconds, d.DayMs, d.DayUptake, d.Expected = 0, 0, at, 0, 0
}

// freshMs is how long a demand told stands for the present.
const freshMs = hourMs

// Demand takes what the climate asks at atMs, mm/h, at least 0. Uptake is learned in
// proportion to it: only its shape counts once a day has been seen.
func (z *Zone) Demand(c *Constants, atMs int64, rate float64) {
	if !(rate >= 0) || math.IsInf(rate, 0) {
		panic(badDemand(atMs, rate))
	}
	z.Advance(c, atMs)
	if z.Demands.ClimateMs == 0 {
		// The first word of a climate: its unit replaces the zone's own.
		was := z.Course
		z.Course.begin(c)
		z.Demands.BinSum, z.Demands.BinSeconds = 0, 0
		z.Demands.Rate, z.Demands.ClimateMs = rate, z.AtMs
		if z.Rates.Begun {
			z.unitChanged(c, &was)
		}
		return
	}
	z.Demands.Rate, z.Demands.ClimateMs = rate, z.AtMs
}

// unitChanged keeps the believed uptake of a day, and that of a night, while the unit of
// demand changes, and with it the course, from what it was.
func (z *Zone) unitChanged(c *Constants, was *Course) {
	if z.Rates.Day.Count+z.Rates.Night.Count == 0 {
		z.beginRates(c) // nothing but the prior was believed
		return
	}
	wasDay, wasNight := z.asked(c, was)
	day, night := z.asked(c, &z.Course)
	z.Rates.Day.Mean += math.Log(wasDay / day)
	z.Rates.Night.Mean += math.Log(wasNight / night)
	z.Rates.Day.widen(1)
	z.Rates.Night.widen(1)
	z.Rates.Day.Count, z.Rates.Night.Count = 0, 0
	z.Block = Block{}
}

// asked is what a course asks for by day and by night, in their means; where there is
// only one of them, that of the other.
func (z *Zone) asked(c *Constants, course *Course) (day, night float64) {
	mean := course.mean()
	floor := demandFloor * mean
	days, nights := 0.0, 0.0
	for i := range int64(courseBins) {
		at := i*binMs + binMs/2
		if x := course.atWith(at, mean) + floor; z.isDay(c, at, mean) {
			day += x
			days++
		} else {
			night += x
			nights++
		}
	}
	switch {
	case nights == 0:
		night, nights = day, days
	case days == 0:
		day, days = night, nights
	}
	return day / days, night / nights
}

// demand is what the climate asks at a time, or its usual course.
func (z *Zone) demand(at int64) float64 {
	d := &z.Demands
	if d.ClimateMs != 0 && at-d.ClimateMs <= freshMs {
		return d.Rate
	}
	return z.Course.at(at)
}

// effective adds to a demand the small share that a crop drinks in any case,
// so that nights without demand can still be learned.
func (z *Zone) effective(demand float64) float64 {
	return demand + demandFloor*z.Course.mean()
}

// demandFloor is that share, of the mean demand. Common practice, no source.
const demandFloor = 0.03

// binEnds closes a bin of the course and, each 24 h, the day.
func (z *Zone) binEnds(c *Constants, to int64) {
	d := &z.Demands
	if d.ClimateMs != 0 && to-d.ClimateMs <= freshMs && d.BinSeconds > 600 {
		z.Course.learn(to-1, d.BinSum/d.BinSeconds)
	}
	d.BinSum, d.BinSeconds = 0, 0
	if mod(to, lookEveryMs) == 0 {
		z.lookBack(c, to)
	}
	if to-d.DayMs >= dayMs {
		z.dayEnds(c, to)
	}
}

// dayEnds compares the day's uptake with what was expected of it and opens the
// next: new allowances, a new expectation.
func (z *Zone) dayEnds(c *Constants, to int64) {
	d := &z.Demands
	actual := d.DayUptake + z.Open.ModelML
	if d.Expected > 0 && actual > 0 {
		e := math.Log(actual / d.Expected)
		e = math.Min(math.Max(e, -1), 1)
		if d.Days == 0 {
			d.DayVar = 0.04
		}
		d.Days++
		d.DayVar += math.Max(0.1, 1/float64(d.Days+2)) * (e*e - d.DayVar)
	}
	d.DayMs, d.DayUptake = to, -z.Open.ModelML
	d.Expected = 0
	if z.SeenMs != 0 && z.Rates.Day.Count+z.Rates.Night.Count > 4 {
		var day [courseBins]float64
		z.UptakeSteps(c, to, binMs, day[:])
		for _, ml := range day {
			d.Expected += ml
		}
	}
	if d.ClimateMs == 0 && z.Course.Seen != 0 {
		moved := z.Course.level()
		z.Rates.Day.Mean += moved
		z.Rates.Night.Mean += moved
	}
	for _, e := range []*Estimate{&z.Rates.Day, &z.Rates.Night} {
		e.newDay(&ratePace)
	}
	z.Rates.Soon.newDay(&soonPace)
	z.Capture.newDay(&capturePace)
	z.Gain.newDay(&gainPace)
	z.Capacity.newDay(&capacityPace)
	z.restedDay(c, to)
	z.recall(c, to)
	z.DrainLog.newDay(&drainPace)
	z.Shots.Faint /= 2
}

// nearMs is how far ahead what is asked now says more than what is usual.
const nearMs = 2 * hourMs

// nowRatio is what demand ahead ms from now is over its usual, fading from what
// it is now.
func (z *Zone) nowRatio(from, ahead int64) float64 {
	usual := z.Course.at(from)
	if usual <= 0 {
		return 1
	}
	ratio := math.Min(math.Max(z.Demands.Rate/usual, 0.3), 3)
	return 1 + (1-float64(ahead)/float64(nearMs))*(ratio-1)
}

// UptakeSteps fills out with the uptake expected of each coming step of stepMs
// from fromMs on, mL, while water is plenty.
func (z *Zone) UptakeSteps(c *Constants, fromMs, stepMs int64, out []float64) {
	day, night := math.Exp(z.Rates.Day.Mean), math.Exp(z.Rates.Night.Mean)
	floor := demandFloor * z.Course.mean()
	fresh := z.Demands.ClimateMs != 0 && fromMs-z.Demands.ClimateMs <= freshMs
	mean := z.Course.mean()
	lift := z.Rates.Lift
	fade := math.Exp(-float64(stepMs) / 1000 / liftS)
	lift *= math.Sqrt(fade)
	seconds := float64(stepMs) / 1000
	for k := range out {
		at := fromMs + int64(k)*stepMs + stepMs/2
		demand := z.Course.atWith(at, mean)
		if ahead := at - fromMs; fresh && ahead < nearMs {
			demand *= z.nowRatio(fromMs, ahead)
		}
		rate := night
		if z.isDay(c, at, mean) {
			rate = day
		}
		// exp(lift) to third order: |lift| is at most 0.7.
		boost := 1 + lift*(1+lift*(0.5+lift/6))
		out[k] = rate * boost * (demand + floor) * seconds
		lift *= fade
	}
}

// UptakeRelSD is the spread of a coming day's uptake as a share of it: how far
// days have strayed from what was expected of them, and what is not known of
// the crop's rate. 0.3 before any day was seen.
func (z *Zone) UptakeRelSD() float64 {
	days := 0.09
	if z.Demands.Days > 0 {
		days = z.Demands.DayVar
	}
	return math.Sqrt(math.Min(days+z.Rates.Day.Var, 1))
}
