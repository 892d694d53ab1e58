package plan

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/hydraulics"
)

// Many equal days lead to the steady state of the salt balance, whose numbers
// are those of the references (drain EC at steady state, well mixed).
func TestPoreECSettlesAtTheSteadyState(t *testing.T) {
	for _, f := range []float64{0.05, 0.1, 0.2, 0.3, 0.5} {
		s := Salt{PoreEC: 2, FeedEC: 2.5}
		want, ok := s.balance().SteadyPoreEC(f)
		if !ok {
			t.Fatal("no steady state")
		}
		for range 4000 {
			s.PoreEC = s.poreECAfter(4000, 1000, 1000*f)
		}
		if math.Abs(s.PoreEC-want) > 1e-6 {
			t.Errorf("drain %v: pore EC settles at %v, steady state %v", f, s.PoreEC, want)
		}
	}
	s := Salt{PoreEC: 2, FeedEC: 2.5}
	if got, want := s.poreECAfter(4000, 1000, 0), 2+(2.5-0.8*2.5)*1000/4000; math.Abs(got-want) > 1e-9 {
		t.Errorf("no drain: %v, want %v", got, want) // all that the crop leaves stays
	}
}

// Salt builds up, unsteered, above what a leaching fraction of 0.2 leads to in
// the method of FAO-29.
func TestUnsteeredHighIsThatOfTheMethod(t *testing.T) {
	if want := hydraulics.SoilWaterConcentration(0.2); math.Abs(unsteeredHigh-want) > 0.005 {
		t.Errorf("%v, the method gives %v", unsteeredHigh, want)
	}
}

// After leachDays of the raised drain the pore EC is where it was aimed.
func TestRaisedDrainDoesIt(t *testing.T) {
	s := Salt{PoreEC: 4, FeedEC: 2}
	f := s.fractionFor(3.4, 4000, 2500, 0.1)
	if f <= 0.1 || f >= mostDrain {
		t.Fatalf("raised to %v", f)
	}
	for range leachDays {
		s.PoreEC = s.poreECAfter(4000, 2500/(1-f), 2500*f/(1-f))
	}
	if s.PoreEC > 3.4+1e-9 || s.PoreEC < 3.3 {
		t.Errorf("after %d days pore EC is %v, aimed at 3.4", leachDays, s.PoreEC)
	}
}

func TestLeach(t *testing.T) {
	for _, c := range []struct {
		name   string
		salt   Salt
		do     func(r *Request)
		action advice.Action
		code   string
		drain  [2]float64
	}{
		{"pore EC high", Salt{PoreEC: 4.2, PoreKnown: true, FeedEC: 2, FeedKnown: true, WantedEC: 3, WantedKnown: true}, nil, advice.Leach, "pore-ec-high", [2]float64{0.15, 0.4}},
		{"pore EC as wanted", Salt{PoreEC: 3.1, PoreKnown: true, FeedEC: 2, FeedKnown: true, WantedEC: 3, WantedKnown: true}, nil, advice.Irrigate, "", [2]float64{0.1, 0.1}},
		{"pore EC low", Salt{PoreEC: 2.1, PoreKnown: true, FeedEC: 2, FeedKnown: true, WantedEC: 9, WantedKnown: true}, nil, advice.Irrigate, "pore-ec-low", [2]float64{0, 0.08}},
		{"feed too strong", Salt{PoreEC: 4.2, PoreKnown: true, FeedEC: 3, FeedKnown: true, WantedEC: 2.5, WantedKnown: true}, nil, advice.Leach, "pore-ec-feed-bound", [2]float64{0.15, 0.4}},
		{"feed already in the pores", Salt{PoreEC: 3.1, PoreKnown: true, FeedEC: 3, FeedKnown: true, WantedEC: 2.5, WantedKnown: true}, nil, advice.Irrigate, "pore-ec-feed-bound", [2]float64{0.1, 0.1}},
		{"unsteered, salt builds up", Salt{PoreEC: 6, PoreKnown: true, FeedEC: 2, FeedKnown: true}, nil, advice.Leach, "salt-above-feed", [2]float64{0.15, 0.4}},
		{"unsteered, usual", Salt{PoreEC: 4, PoreKnown: true, FeedEC: 2, FeedKnown: true}, nil, advice.Irrigate, "", [2]float64{0.1, 0.1}},
		{"recovering", Salt{PoreEC: 4.2, PoreKnown: true, FeedEC: 2, FeedKnown: true, WantedEC: 3, WantedKnown: true}, func(r *Request) { r.Recovering = true }, advice.Irrigate, "no-leach-in-recovery", [2]float64{0.1, 0.1}},
		{"pore EC not known", Salt{FeedEC: 2, FeedKnown: true, WantedEC: 3, WantedKnown: true}, nil, advice.Irrigate, "", [2]float64{0.1, 0.1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := pot(7000, 1800)
			r.Salt = c.salt
			if c.do != nil {
				c.do(r)
			}
			p := Best(r, new(Scratch))
			if p.Action != c.action || p.Setpoints.DrainFraction < c.drain[0] || p.Setpoints.DrainFraction > c.drain[1] {
				t.Errorf("%s with a drain of %v; want %s, %v", p.Action, p.Setpoints.DrainFraction, c.action, c.drain)
			}
			if c.code != "" && !says(&p, c.code) {
				t.Errorf("%s is not said: %v", c.code, p.Reasons)
			}
			for _, code := range []string{"pore-ec-high", "pore-ec-low", "pore-ec-feed-bound", "salt-above-feed", "no-leach-in-recovery"} {
				if code != c.code && says(&p, code) {
					t.Errorf("%s is said", code)
				}
			}
			if got := float64(p.Expected.DrainML) / float64(p.Setpoints.ScheduledML()); c.action == advice.Leach && got < p.Setpoints.DrainFraction-0.07 {
				t.Errorf("drains %.2f where it aims at %.2f", got, p.Setpoints.DrainFraction)
			}
		})
	}
}

func says(p *Proposal, code string) bool {
	for _, r := range p.Reasons {
		if r.Code == code {
			return true
		}
	}
	return false
}

// After dull days the container is full and drinks little: salt is flushed by day all the same,
// and not at dusk, where the container stands full through the night.
func TestSaltIsFlushedByDay(t *testing.T) {
	for _, uptake := range []float64{250, 350, 500, 800} {
		for _, level := range []float64{0.56, 0.58, 0.60} {
			r := pot(5000, uptake)
			r.Salt = Salt{PoreEC: 4.2, PoreKnown: true, FeedEC: 3, FeedKnown: true, WantedEC: 3.5, WantedKnown: true}
			r.Limits.MaxDailyML = 1500
			r.Situation.WaterContent, r.LastPeak = level, level
			p := Best(r, new(Scratch))
			if p.Action != advice.Leach {
				continue
			}
			shots := p.Setpoints.Schedule
			if last := shots[len(shots)-1].At; r.DaytimeEnd.Sub(last) < 150*time.Minute {
				t.Errorf("uptake %g mL, at %.2f: %d shots, the last at %s; daytime ends at %s", uptake, level, len(shots), last.Format("15:04"), r.DaytimeEnd.Format("15:04"))
			}
		}
	}
}
