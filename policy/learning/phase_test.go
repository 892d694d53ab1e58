package learning

import (
	"math"
	"testing"
)

// The light burns on for hours after the marked day. What the crop then drinks for what
// is asked of it is the day's, and what it drinks in the dark stays apart from it.
func TestALitEveningIsDay(t *testing.T) {
	p, g := newPot(41), &grower{trigger: 0.55, ml: 250}
	c := potConstants(p)
	c.DayEndS = 12 * 3600
	var z Zone
	for range 10 * 24 * 12 {
		play(p, g, &z, c, 1./24/12, 5*minuteMs, true, false, nil)
		z.Demand(c, p.at, usualDemand*(p.demand()+0.3)) // dry air asks on in the dark, when stomata are closed
	}
	for _, part := range []struct {
		name     string
		from, to int64 // h
		within   float64
	}{{"morning", 8, 11, 0.15}, {"lit evening", 13, 16, 0.15}, {"dark", 20, 28, 0.35}} {
		var steps [48]float64
		z.UptakeSteps(c, p.at, 30*minuteMs, steps[:])
		expected, drunk := 0.0, 0.0
		for k, ml := range steps {
			at := p.at + int64(k)*30*minuteMs
			hour := mod(at, dayMs) / hourMs
			if hour < part.from%24 && part.to > 24 {
				hour += 24
			}
			if hour >= part.from && hour < part.to {
				q := *p
				q.at = at + 15*minuteMs
				expected, drunk = expected+ml, drunk+q.perDay/48*q.demand()
			}
		}
		t.Logf("%s: %.0f mL expected, really %.0f", part.name, expected, drunk)
		if math.Abs(expected/drunk-1) > part.within {
			t.Errorf("%s: %.0f mL expected, really %.0f", part.name, expected, drunk)
		}
	}
}
