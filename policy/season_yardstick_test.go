package policy

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/hydraulics"
	"rhizostat/policy/simulator"
)

// toldRight makes the site files of a season true and its probes unbiased, so
// that what is left is what planning itself can do.
func (s season) toldRight() season {
	s.zones = append([]seasonZone(nil), s.zones...)
	for i := range s.zones {
		z := &s.zones[i]
		before := capacityOf(z)
		z.settings.Substrate.TotalPorosity = z.spec.Substrate.TotalPorosity
		z.settings.Substrate.Retention = hydraulics.Retention{ThetaR: z.spec.Substrate.ThetaR, ThetaS: z.spec.Substrate.ThetaS, AlphaPerKPa: z.spec.Substrate.AlphaPerCM * cmPerKPa, N: z.spec.Substrate.N}
		shift := capacityOf(z) - before
		if full := z.settings.Band.FullPoint; full != nil { // plain numbers follow the pot they were drawn for
			up, down := *full+shift, *z.settings.Band.RefillPoint+shift
			z.settings.Band.FullPoint, z.settings.Band.RefillPoint = &up, &down
		}
		z.spec.EmitterBias = 0
		z.spec.Probes = append([]simulator.Probe(nil), z.spec.Probes...)
		for j := range z.spec.Probes {
			p := &z.spec.Probes[j]
			p.Gain, p.Bias, p.DriftPerDay = 1, 0, 0
		}
	}
	return s
}

func capacityOf(z *seasonZone) float64 {
	p, err := hydraulics.NewProfile(z.settings.Substrate, z.settings.Container)
	if err != nil {
		panic(err) // drawBand has made it before
	}
	return p.ContainerCapacity()
}

// dayPlan is a day of the yardstick: rewet shots from first on at the least
// interval, then the others evenly to last; or, by trigger, whenever the water content
// is below it until last. Times are minutes after the day's start.
type dayPlan struct {
	first, last, shots, rewet int
	volume                    float64
	trigger                   float64 // m3/m3; 0: by clock
}

// dayFollower is a controller that follows a dayPlan: how many shots it gave, and when the last.
type dayFollower struct{ given, lastAt int }

// due tells whether a shot is to be given at minute t of the day.
func (c *dayFollower) due(d *dayPlan, t, interval int, content float64) bool {
	if d.trigger == 0 {
		if c.given == d.shots || d.at(c.given, interval) > t {
			return false
		}
	} else if t < d.first || t > d.last || c.given > 0 && t < c.lastAt+interval || c.given >= d.rewet && content >= d.trigger || c.given == mostShots {
		return false
	}
	c.given, c.lastAt = c.given+1, t
	return true
}

// mostShots is the most that a day of the yardstick gives.
const mostShots = 24

func (d dayPlan) at(i, interval int) int {
	if i < d.rewet {
		return d.first + i*interval
	}
	start := d.first + d.rewet*interval
	if d.shots-d.rewet < 2 {
		return start
	}
	return start + max((d.last-start)/(d.shots-d.rewet-1), interval)*(i-d.rewet)
}

// yardstick plans one zone with perfect knowledge: it tries its days on copies
// of the facility itself, weather, crop and all, and takes the best it finds.
type yardstick struct {
	f        *simulator.Facility
	m        *marks
	z        *seasonZone
	interval int
	peak     float64 // the last of the day before, m3/m3; 0: none
	// blind: it knows all but the weather to come, plans on the evening before, and for
	// several days that may come.
	blind, byTrigger bool
	today            dayPlan     // what is left of it
	done             dayFollower // of today
	from             time.Time   // today's start
}

// futures is how many days that may come a blind planner reckons with.
const futures = 4

// freeFirst is how far into a day its first shot may come to end the night before
// at the dryback wanted: a grower waits no longer (common practice, no source).
const freeFirst = 3 * time.Hour

// nightOff is how far the overnight dryback from a peak lies off the target where
// the next day's first shot comes when it is best: at the day's start or later.
func nightOff(peak, atStart, later, dryback float64) float64 {
	return math.Max(peak-atStart-dryback, 0) + math.Max(dryback-(peak-later), 0)
}

// try plays a day on a copy and costs it, or its mean over the days that may come.
func (y *yardstick) try(d dayPlan, day IrrigationDay) float64 {
	if !y.blind {
		return y.cost(y.f.Clone(), d, day)
	}
	sum := 0.0
	for i := range futures {
		f := y.morning(day, i)
		sum += y.cost(f, d, day)
	}
	return sum / futures
}

// morning is a day's start as it may come, with what is left of today given; of a
// planner who is not blind, as it is.
func (y *yardstick) morning(day IrrigationDay, future int) *simulator.Facility {
	f := y.f.Clone()
	if !y.blind {
		return f
	}
	f.OtherSky(uint64(day.Start.Unix()) + uint64(future))
	c := y.done
	for ; f.Now().Before(day.Start); f.Advance(f.Now().Add(5 * time.Minute)) {
		if c.due(&y.today, int(f.Now().Sub(y.from).Minutes()), y.interval, f.Truth(0).WaterContent) {
			f.Open(0, y.today.volume)
		}
	}
	return f
}

// cost plays a day and costs it: share of daytime outside the band,
// saturated time, the nights before and after it and the drain off their targets.
// The first shot of the day after is that day's own choice.
func (y *yardstick) cost(f *simulator.Facility, d dayPlan, day IrrigationDay) float64 {
	b := &y.m.band
	before := f.Truth(0)
	outside, daytime, wet := 0.0, 0.0, 0.0
	peak := 0.0
	var c dayFollower
	minutes := int(day.Next.Sub(day.Start)/(5*time.Minute)) * 5
	lastNight, atNext := 0.0, before
	for t := 0; t < minutes+int(freeFirst.Minutes()); t += 5 {
		if t == minutes {
			atNext = f.Truth(0)
		}
		for content := f.Truth(0).WaterContent; t < minutes && c.due(&d, t, y.interval, content); {
			if c.given == 1 && y.peak > 0 {
				lastNight = math.Abs(y.peak - content - b.dryback)
			}
			f.Open(0, d.volume)
			peak = 0
		}
		f.Advance(day.Start.Add(time.Duration(t+5) * time.Minute))
		now := f.Truth(0).WaterContent
		if c.given > 0 && t <= c.lastAt+120 {
			peak = math.Max(peak, now)
		}
		if t >= minutes {
			continue
		}
		wet += one(f.SaturatedShare(0, y.z.settings.Aeration.CriticalAirFilledPorosity) > y.z.settings.Aeration.ToleratedShare) / 12
		if t < int(day.DaytimeEnd.Sub(day.Start).Minutes()) {
			daytime++
			outside += one(now < b.refill || now > b.full)
		}
	}
	after := f.Truth(0)
	cost := 10*outside/daytime + 0.5*wet + 0.01*float64(c.given)
	if c.given > 0 {
		night := nightOff(peak, atNext.WaterContent, after.WaterContent, b.dryback)
		cost += 0.4 * (math.Min(night/0.012, 8) + math.Min(lastNight/0.012, 8))
		given := atNext.Given - before.Given
		cost += 0.3 * math.Min(math.Abs((atNext.Drained+atNext.Overflow-before.Drained-before.Overflow)/given-b.drain)/0.05, 8)
	} else {
		cost += 4
	}
	return cost
}

// guesses are days of shots of a few sizes that give what the crop drinks and the
// drain wanted, from when the night before has dried back as wanted to when what is
// drunk after the last one makes the next night.
func (y *yardstick) guesses(was dayPlan, day IrrigationDay) []dayPlan {
	f, v := y.morning(day, 0), y.z.settings.Container.VolumeML()
	start := f.Truth(0)
	length, minutes := int(day.DaytimeEnd.Sub(day.Start)/(5*time.Minute))*5, int(day.Next.Sub(day.Start)/(5*time.Minute))*5
	drunk := []float64{0} // m3/m3 by each 5 min
	var c dayFollower
	for t := 0; t < minutes+int(freeFirst.Minutes())/2; t += 5 {
		for content := f.Truth(0).WaterContent; c.due(&was, t, y.interval, content); {
			f.Open(0, was.volume)
		}
		f.Advance(day.Start.Add(time.Duration(t+5) * time.Minute))
		now := f.Truth(0)
		drunk = append(drunk, (now.Uptake+now.Evaporated-start.Uptake-start.Evaporated)/v)
	}
	first, last := 0, length
	for y.peak > 0 && first < length-60 && y.peak-(start.WaterContent-drunk[first/5]) < y.m.band.dryback {
		first += 5
	}
	for last > first+30 && drunk[len(drunk)-1]-drunk[last/5] < y.m.band.dryback {
		last -= 5
	}
	total := drunk[minutes/5] * v / (1 - y.m.band.drain)
	var days []dayPlan
	for _, share := range []float64{0.06, 0.03, 0.015} {
		n := min(max(int(math.Ceil(total/math.Min(share*v, y.z.settings.Limits.MaxShotML))), 1), 24)
		days = append(days, dayPlan{first: first, last: last, shots: n, rewet: min(n-1, 2), volume: math.Min(total/float64(n), y.z.settings.Limits.MaxShotML)})
	}
	if y.byTrigger {
		for i := range days {
			days[i].trigger = math.Min(y.m.band.full, start.WaterContent+y.m.band.dryback) - 0.01
		}
	}
	return days
}

// best takes the cheapest of the day before's plan and the guesses, and improves it one
// number at a time, or two against each other, with steps that shrink.
func (y *yardstick) best(d dayPlan, day IrrigationDay) dayPlan {
	limit := y.z.settings.Limits
	length := int(day.DaytimeEnd.Sub(day.Start).Minutes())
	guesses, cost := y.guesses(d, day), math.Inf(1)
	if y.byTrigger == (d.trigger > 0) {
		cost = y.try(d, day)
	}
	for _, t := range guesses {
		if c := y.try(t, day); c < cost {
			d, cost = t, c
		}
	}
	for _, scale := range []int{4, 2, 1} {
		for range 3 {
			was := cost
			for k := range 14 {
				t, step := d, scale*(1-2*(k%2))
				switch k / 2 {
				case 0:
					t.shots += step
					if y.byTrigger {
						t.trigger = math.Max(t.trigger+0.004*float64(step), 0.01)
					}
				case 1:
					t.volume *= math.Pow(1.05, float64(step))
				case 2:
					t.first += 10 * step
				case 3:
					t.last += 15 * step
				case 4:
					t.rewet += step
				case 5:
					t.shots = max(t.shots+step, 1)
					t.volume *= float64(d.shots) / float64(t.shots)
				case 6:
					t.last += 15 * step
					t.volume *= math.Pow(1.05, float64(step))
				}
				t.volume = math.Min(t.volume, limit.MaxShotML)
				t.shots, t.rewet = min(max(t.shots, 1), mostShots), min(max(t.rewet, 0), 6)
				t.first, t.last = min(max(t.first, 0), length-60), min(max(t.last, t.first+30), length)
				if t == d || t.volume*float64(t.shots) > limit.MaxDailyML {
					continue
				}
				if c := y.try(t, day); c < cost {
					d, cost = t, c
				}
			}
			if cost >= was {
				break
			}
		}
	}
	return d
}

// playYardstick plays a season of one zone by perfect knowledge: blind of all but the
// weather to come, and then by clock or by trigger.
func playYardstick(s season, blind, byTrigger bool) (*marks, error) {
	z := &s.zones[0]
	f, err := simulator.NewFacility(s.seed, s.weather, s.climate, []simulator.ZoneSpec{z.spec}, s.start)
	if err != nil {
		return nil, err
	}
	engine, err := New(z.settings)
	if err != nil {
		return nil, err
	}
	m := newMarks(&s, 0, engine)
	y := yardstick{f: f, m: m, z: z, interval: int(z.settings.Limits.MinIntervalMin), blind: blind, byTrigger: byTrigger}
	day := z.settings.DayAt(s.start)
	plan := dayPlan{first: 60, last: 540, shots: 6, rewet: 1, volume: z.settings.Limits.MaxShotML / 2}
	c := dayFollower{given: plan.shots} // the day that runs is left alone
	next, planned := plan, false
	for range s.days * 24 * 60 {
		now := f.Now()
		if blind && !planned && !now.Before(day.DaytimeEnd) {
			y.today, y.done, y.from = plan, c, day.Start
			next, planned = y.best(plan, z.settings.DayAt(day.Next)), true
		}
		if !now.Before(day.Next) {
			day = z.settings.DayAt(now)
			if !blind {
				next = y.best(plan, day)
			}
			plan, c, planned = next, dayFollower{}, false
		}
		for t, content := int(f.Now().Sub(day.Start).Minutes()), f.Truth(0).WaterContent; c.due(&plan, t, y.interval, content); {
			f.Open(0, plan.volume)
			m.gave(f.Now(), plan.volume)
		}
		f.Advance(f.Now().Add(time.Minute))
		f.Measurements()
		m.minute(f, engine)
		if n := len(m.shots); n > 0 && f.Now().Sub(m.shots[n-1].At) <= 2*time.Hour {
			if f.Now().Sub(m.shots[n-1].At) <= time.Minute {
				y.peak = 0
			}
			y.peak = math.Max(y.peak, f.Truth(0).WaterContent)
		}
	}
	m.finish()
	return m, nil
}

// TestSeasonYardstick holds the engine against a planner with perfect knowledge
// of the simulator, where site files tell the truth.
func TestSeasonYardstick(t *testing.T) {
	if testing.Short() || seasonCount(t, 0) == 0 {
		t.Skip("a planner with perfect knowledge takes seconds a zone: ask for it with -seasons or RHIZOSTAT_SEASONS")
	}
	ours, perfect := newTally(), newTally()
	for i := range seasonCount(t, 0) {
		s := drawSeason(reportingSeeds+50_000+uint64(i), 1, 14).toldRight()
		marks, err := playSeason(s, nil)
		if err != nil {
			t.Fatal(err)
		}
		best, err := playYardstick(s, false, false)
		if err != nil {
			t.Fatal(err)
		}
		a, b := newTally(), newTally()
		a.add(marks[0])
		b.add(best)
		t.Logf("seed %d ours    %s", s.seed, a.line(marks[0]))
		t.Logf("seed %d perfect %s", s.seed, b.line(best))
		ours.add(marks[0])
		perfect.add(best)
	}
	in, best := average(ours.inBand), average(perfect.inBand)
	t.Logf("daytime in band %.3f, by perfect knowledge %.3f: %.3f of it; saturated %.2f h a day, %.2f", in, best, in/best, average(ours.saturatedH), average(perfect.saturatedH))
	t.Logf("ours, told right:\n%v\nperfect knowledge:\n%s", ours, perfect.days())
}

// TestSeasonWithoutForecast prints what a planner reaches that knows all of a zone but
// the weather to come, of which no facility tells the engine: by clock and by trigger,
// where probes and site files tell the truth. It bounds what nights and drain can be held
// to from the day's start on.
func TestSeasonWithoutForecast(t *testing.T) {
	if testing.Short() || seasonCount(t, 0) == 0 {
		t.Skip("a planner with perfect knowledge takes half a minute a zone: ask for it with -seasons or RHIZOSTAT_SEASONS")
	}
	for _, byTrigger := range []bool{false, true} {
		all := newTally()
		for i := range seasonCount(t, 0) {
			s := drawSeason(reportingSeeds+50_000+uint64(i), 1, 14).toldRight()
			m, err := playYardstick(s, true, byTrigger)
			if err != nil {
				t.Fatal(err)
			}
			one := newTally()
			one.add(m)
			t.Logf("seed %d by trigger %v %s", s.seed, byTrigger, one.line(m))
			all.add(m)
		}
		t.Logf("by trigger %v:\n%s", byTrigger, all.days())
	}
}
