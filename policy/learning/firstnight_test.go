package learning

import (
	"math"
	"testing"
)

// A zone that is first heard by night, its climate with it, expects a day of the day to
// come, not more of the night: the prior, within the factor of e that it claims. It does so
// in whatever order the two first speak.
func TestFirstHeardByNight(t *testing.T) {
	for _, first := range []struct {
		what   string
		hour   int64
		demand float64 // mm/h, of the climate when it first speaks
	}{{"dark", 1, 0.01}, {"dry air in the dark", 1, 0.05}, {"dawn", 5, 0.03}, {"noon", 12, 0.5}, {"a dull noon", 12, 0.12}} {
		for _, climateFirst := range []bool{true, false} {
			p := newPot(3)
			p.at += first.hour * hourMs
			c := potConstants(p)
			prior := 0.5 * (c.DesignCapacity - c.StressMean) * c.VolumeML
			var z Zone
			for range 8 { // 40 min
				if climateFirst {
					z.Demand(c, p.at, first.demand)
				}
				z.Observe(c, p.at, p.reading(), p.noise)
				if !climateFirst {
					z.Demand(c, p.at, first.demand)
				}
				p.run(p.at + 5*minuteMs)
			}
			if got := expected(&z, c); math.Abs(math.Log(got/prior)) > 1 {
				t.Errorf("%s, climate first %v: %.0f mL expected of a day where nothing says other than %.0f mL", first.what, climateFirst, got, prior)
			}
		}
	}
}

// What is usual of hours that have not been seen follows those that have: under lamps that
// ask for twice as much all day, half a day tells of the other half.
func TestUnseenHoursFollowSeenOnes(t *testing.T) {
	k := &Constants{DayStartS: 6 * 3600, DayEndS: 18 * 3600}
	var c Course
	c.begin(k)
	if m := c.mean(); math.Abs(m/usualDemand-1) > 1e-6 {
		t.Fatalf("mean %.4f mm/h before anything is seen; expected %.4f", m, usualDemand)
	}
	usual := c.Bins[30]
	for b := int64(12); b < 24; b++ { // 06:00 to 12:00
		c.learn(b*binMs, 2*float64(usual))
	}
	if by := float64(c.Bins[30] / usual); by < 1.4 || by > 2 {
		t.Errorf("the afternoon is taken for %.2f times what is usual after a morning of twice that", by)
	}
	c.begin(k)
	for b := int64(0); b < 12; b++ { // a night that asks for nothing
		c.learn(b*binMs, 0)
	}
	if by := float64(c.Bins[30] / usual); by < 0.6 {
		t.Errorf("the day is taken for %.2f times what is usual after a night that asks for nothing", by)
	}
}
