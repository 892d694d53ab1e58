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
// interval, then the others evenly to last. Times are minutes after the day's
// start.
type dayPlan struct {
	first, last, shots, rewet int
	volume                    float64
}

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
}

// try plays a day on a copy and costs it: share of daytime outside the band,
// saturated time, the night's dryback and the drain off their targets.
func (y *yardstick) try(d dayPlan, day IrrigationDay) float64 {
	f := y.f.Clone()
	b := &y.m.band
	before := f.Truth(0)
	outside, daytime, wet := 0.0, 0.0, 0.0
	peak, next := 0.0, 0
	minutes := int(day.Next.Sub(day.Start).Minutes())
	end := minutes + max(d.first, 0) // to the first shot of the day after
	for t := 0; t < end; t += 5 {
		for ; next < d.shots && d.at(next, y.interval) <= t; next++ {
			f.Open(0, d.volume)
		}
		f.Advance(day.Start.Add(time.Duration(t+5) * time.Minute))
		now := f.Truth(0).WaterContent
		if next == d.shots && t <= d.at(d.shots-1, y.interval)+120 && d.shots > 0 {
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
	cost := 10*outside/daytime + 0.5*wet + 0.01*float64(d.shots)
	if d.shots > 0 {
		cost += 0.4 * math.Min(math.Abs(peak-after.WaterContent-b.dryback)/0.012, 8)
		given := after.Given - before.Given
		cost += 0.3 * math.Min(math.Abs((after.Drained+after.Overflow-before.Drained-before.Overflow)/given-b.drain)/0.05, 8)
	} else {
		cost += 4
	}
	return cost
}

// best improves a day one number at a time, with steps that shrink.
func (y *yardstick) best(d dayPlan, day IrrigationDay) dayPlan {
	limit := y.z.settings.Limits
	length := int(day.DaytimeEnd.Sub(day.Start).Minutes())
	cost := y.try(d, day)
	for _, scale := range []int{4, 2, 1} {
		for range 2 {
			was := cost
			for k := range 10 {
				t, step := d, scale*(1-2*(k%2))
				switch k / 2 {
				case 0:
					t.shots += step
				case 1:
					t.volume = math.Min(t.volume*math.Pow(1.07, float64(step)), limit.MaxShotML)
				case 2:
					t.first += 20 * step
				case 3:
					t.last += 30 * step
				case 4:
					t.rewet += step
				}
				t.shots, t.rewet = min(max(t.shots, 1), 24), min(max(t.rewet, 0), 6)
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

// playYardstick plays a season of one zone by perfect knowledge.
func playYardstick(s season) (*marks, error) {
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
	y := yardstick{f: f, m: m, z: z, interval: int(z.settings.Limits.MinIntervalMin)}
	day := z.settings.DayAt(s.start)
	plan := dayPlan{first: 60, last: 540, shots: 6, rewet: 1, volume: z.settings.Limits.MaxShotML / 2}
	next := plan.shots
	for range s.days * 24 * 60 {
		if now := f.Now(); !now.Before(day.Next) {
			day = z.settings.DayAt(now)
			plan, next = y.best(plan, day), 0
		}
		for ; next < plan.shots && !f.Now().Before(day.Start.Add(time.Duration(plan.at(next, y.interval))*time.Minute)); next++ {
			f.Open(0, plan.volume)
			m.gave(f.Now(), plan.volume)
		}
		f.Advance(f.Now().Add(time.Minute))
		f.Measurements()
		m.minute(f, engine)
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
		best, err := playYardstick(s)
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
