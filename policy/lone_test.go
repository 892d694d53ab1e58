package policy

import (
	"math/rand/v2"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
)

// The only probe of a zone falls out of its substrate: it reads next to nothing from one
// reading to the next. No water is advised by it for as long as it hangs there, however long
// that is; a person is asked to look, day by day. A note that it is well has it count again.
func TestALoneProbeInTheAirAsksForNoWater(t *testing.T) {
	const falls, days = 3*24*60 + 14*60, 8 // minutes, days
	for _, note := range []string{"", "looked at the probe, no sensor fault"} {
		s := bench()
		s.Probes, s.Quorum = s.Probes[:1], 1
		z, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		if least := z.leastReading(); least > 0.02 {
			t.Fatalf("the check of impossible readings alone, below %g, finds a probe that reads 0.03", least)
		}
		noise := rand.New(rand.NewPCG(1, 2))
		level, table := z.ground.band.FullPoint, z.ground.tables[0]
		inspected, water, counted := 0, 0, false
		for m := range days * 24 * 60 {
			at := monday.Add(time.Duration(m) * time.Minute)
			step := func(e Event) {
				out := z.Step(e)
				if m < falls || out.Advice == nil {
					return
				}
				switch out.Advice.Action {
				case advice.Inspect:
					inspected++
				case advice.Irrigate:
					water++
				}
			}
			if hour := m / 60 % 24; hour >= 6 && hour < 20 { // it drinks, and is watered every two hours
				level -= 0.00012
				if m%120 == 0 {
					level += 0.0145
					e := Event{Kind: Reading, At: at, Stamp: at, Source: ZoneWide}
					e.Values.Set(sensing.IrrigationVolume, 0.0145*z.ground.constants.VolumeML)
					step(e)
				}
			}
			if m%5 != 0 {
				continue
			}
			e := Event{Kind: Reading, At: at, Stamp: at, Source: 0}
			e.Values.Set(sensing.WaterContent, table.Reading(level)+0.0008*noise.NormFloat64())
			if m >= falls {
				e.Values.Set(sensing.WaterContent, 0.03+0.0008*noise.NormFloat64())
			}
			step(e)
			if note != "" && m == falls+600 {
				step(Event{Kind: Operator, At: at, Operator: &OperatorEvent{Kind: "note", Note: note}})
			}
			counted = counted || m > falls+120 && z.quorum(at.UnixMilli())
		}
		if note == "" && (water > 0 || counted || inspected < days-4) {
			t.Errorf("%d advices to irrigate, its word counted: %v, %d requests to look", water, counted, inspected)
		}
		if note != "" && !counted {
			t.Errorf("a person found it well, and it does not count")
		}
	}
}
