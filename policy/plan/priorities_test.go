package plan

import "testing"

// What a site weighs many times as much, its plan heeds more: that part of the
// cost, counted by its plain weight, is no larger than by default, and somewhere
// it is plainly smaller. Pore EC moves by drain alone, which has a target of its
// own, so it takes more.
func TestPrioritiesMoveThePlan(t *testing.T) {
	tight := pot(7000, 1300) // drains only above its full point, and dries back little
	tight.Band.FullPoint, tight.Band.RefillPoint, tight.Band.OvernightDryback, tight.Band.DrainFraction = 0.585, 0.50, 0.09, 0.2
	salty := pot(300, 200) // a day turns its water over: drain tells at once
	salty.Salt = Salt{PoreEC: 3.3, PoreKnown: true, FeedEC: 2, FeedKnown: true, WantedEC: 3, WantedKnown: true}
	drowning := pot(7000, 1300)
	drowning.SaturationPoint = drowning.Band.FullPoint - 0.01
	requests := []*Request{tight, salty, drowning, pot(12000, 4000), pot(300, 200)}
	var s Scratch
	for _, c := range []struct {
		name   string
		times  float64
		weight func(p *Priorities) *float64
		part   func(x *Score) float64
	}{
		{"band", 10, func(p *Priorities) *float64 { return &p.Band }, func(x *Score) float64 { return x.Band }},
		{"saturation", 10, func(p *Priorities) *float64 { return &p.Saturation }, func(x *Score) float64 { return x.Saturation }},
		{"overnight dryback", 10, func(p *Priorities) *float64 { return &p.OvernightDryback }, func(x *Score) float64 { return x.OvernightDryback + x.NightStart }},
		{"drain fraction", 10, func(p *Priorities) *float64 { return &p.DrainFraction }, func(x *Score) float64 { return x.DrainFraction }},
		{"pore EC", 100, func(p *Priorities) *float64 { return &p.PoreEC }, func(x *Score) float64 { return x.PoreEC }},
		{"shots", 10, func(p *Priorities) *float64 { return &p.Shots }, func(x *Score) float64 { return x.Shots }},
	} {
		moved := 0.0
		for i, r := range requests {
			plain := Best(r, &s).Score
			heavy := *r
			*c.weight(&heavy.Priorities) = c.times
			got := Best(&heavy, &s).Score
			was, is := c.part(&plain), c.part(&got)/c.times
			if is > was+0.05 { // the search is no exhaustive one
				t.Errorf("%s %v times as dear, request %d: its part goes from %.3f to %.3f h", c.name, c.times, i, was, is)
			}
			moved = max(moved, was-is)
		}
		t.Logf("%s: at most %.3f h less", c.name, moved)
		if moved < 0.02 {
			t.Errorf("%s %v times as dear moves no plan", c.name, c.times)
		}
	}
}
