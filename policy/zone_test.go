package policy

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/plan"
	"rhizostat/policy/sensing"
)

// bench is a zone of an invented house: 7 L pots of a coir mix.
func bench() Settings {
	dryback := 0.10
	return Settings{
		Site: "north", Zone: "bench-07", Location: time.UTC,
		Substrate: hydraulics.Substrate{Name: "coir-mix", TotalPorosity: 0.92,
			Retention: hydraulics.Retention{ThetaR: 0.08, ThetaS: 0.90, AlphaPerKPa: 1.6, N: 1.75}, Provenance: hydraulics.FromSite},
		Container:      hydraulics.Container{Name: "pot-7l", HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18, Wall: hydraulics.Solid},
		ContainerCount: 240, Emitters: Emitters{PerContainer: 1, FlowLPerH: 2},
		Day:        DayMarks{Start: DayMark{AfterMidnight: 6 * time.Hour}, End: DayMark{AfterMidnight: 18 * time.Hour}},
		Probes:     []Probe{{ID: "p1", HeightCM: 7}, {ID: "p2", HeightCM: 7}},
		Quorum:     1,
		FeedEC:     2.2,
		Band:       hydraulics.BandSpec{OvernightDryback: dryback, DrainFraction: 0.1},
		Aeration:   hydraulics.Aeration{CriticalAirFilledPorosity: 0.10, ToleratedShare: 0.5},
		Limits:     plan.Limits{MaxShotML: 300, MaxDailyML: 3000, MinIntervalMin: 15},
		Priorities: plan.DefaultPriorities(), IssueBeforeDay: 12 * time.Hour, DecideBeforeFirstShot: 10 * time.Minute, StateEvery: time.Minute,
	}
}

// pot is a crude pot for tests of the front door alone: one store, an overflow,
// a demand that follows the sun. It shares nothing with the engine's balance.
type pot struct {
	ml, volume, capacity float64
	drained              float64
}

// potOf is a container of a zone, filled to a share of its capacity, and what a probe at
// 7 cm reads in it.
func potOf(t testing.TB, s *Settings, full float64) (*pot, *hydraulics.ProbeTable) {
	t.Helper()
	profile, err := hydraulics.NewProfile(s.Substrate, s.Container)
	if err != nil {
		t.Fatal(err)
	}
	table, err := profile.Probe(7, 0)
	if err != nil {
		t.Fatal(err)
	}
	p := &pot{volume: profile.VolumeML(), capacity: profile.ContainerCapacity()}
	p.ml = p.capacity * p.volume * full
	return p, table
}

func (p *pot) step(at time.Time, minutes float64) {
	hour := float64(at.Hour()) + float64(at.Minute())/60
	rate := 0.25 // mL/min
	if hour > 6 && hour < 20 {
		rate += 2.6 * math.Sin(math.Pi*(hour-6)/14)
	}
	p.ml -= rate * minutes
	if over := p.ml - p.capacity*p.volume; over > 0 {
		out := over * (1 - math.Exp(-minutes/10))
		p.ml -= out
		p.drained += out
	}
}

// play runs a pot under a facility that follows the schedule of what is
// approved at once, and calls each for every output.
func play(t testing.TB, z *Zone, from time.Time, days int, restart func(*Zone) *Zone, each func(at time.Time, out Output)) *pot {
	t.Helper()
	s := bench()
	p, table := potOf(t, &s, 0.97)
	var plans []*advice.Advice
	var wake time.Time
	var step func(e Event)
	step = func(e Event) {
		out := z.Step(e)
		wake = out.NextWake
		each(e.At, out)
		if out.Advice != nil && out.Advice.Setpoints != nil {
			plans = append(plans, out.Advice)
			step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: out.Advice.ID, State: StatePending}})
			step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: out.Advice.ID, State: StateApproved}})
		}
	}
	for i := range days * 24 * 60 {
		at := from.Add(time.Duration(i) * time.Minute)
		p.step(at, 1)
		given := 0
		for _, a := range plans {
			for _, shot := range a.Setpoints.Schedule {
				if shot.At.Equal(at) && !a.ValidFrom.After(at) && a == newestFor(plans, at) {
					given += shot.VolumeML
				}
			}
		}
		p.ml += float64(given)
		if restart != nil && i == days*24*60/2 {
			z = restart(z)
		}
		for !wake.IsZero() && wake.Before(at) {
			step(Event{Kind: Wake, At: wake})
		}
		if given > 0 {
			e := Event{Kind: Reading, At: at, Stamp: at, Source: ZoneWide}
			e.Values.Set(sensing.IrrigationVolume, float64(given))
			step(e)
		}
		for k := range s.Probes {
			e := Event{Kind: Reading, At: at, Stamp: at, Source: k}
			noise := 0.001 * math.Sin(float64(i*(7+k)))
			e.Values.Set(sensing.WaterContent, math.Round(1000*(table.Reading(p.ml/p.volume)+noise))/1000)
			e.Values.Set(sensing.SubstrateTemperature, 21)
			step(e)
		}
		if wake.Equal(at) {
			step(Event{Kind: Wake, At: at})
		}
	}
	return p
}

func newestFor(plans []*advice.Advice, at time.Time) *advice.Advice {
	var found *advice.Advice
	for _, a := range plans {
		if !at.Before(a.ValidFrom) && at.Before(a.ValidUntil) {
			found = a
		}
	}
	return found
}

var monday = time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)

func TestAZoneIsHeldInItsBand(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	var last *State
	asked := 0
	p := play(t, z, monday, 7, nil, func(at time.Time, out Output) {
		if out.State != nil {
			last = out.State
		}
		if out.Advice != nil && out.Advice.Action != advice.Inspect {
			asked++
			t.Logf("%s %s %+v %v", at.Format("2 15:04"), out.Advice.Action, out.Advice.Setpoints, out.Advice.Reasons)
		}
	})
	if last == nil {
		t.Fatal("no state")
	}
	total := last.Totals.InBandS + last.Totals.AboveBandS + last.Totals.BelowBandS
	t.Logf("band %.3f..%.3f, in band %.2f, above %.2f, below %.2f, saturated %.1f h, drained %.0f mL, state %+v", last.RefillPoint, last.FullPoint,
		last.Totals.InBandS/total, last.Totals.AboveBandS/total, last.Totals.BelowBandS/total, last.Totals.SaturationS/3600, p.drained, *last)
	if got := last.WaterContent - p.ml/p.volume; math.Abs(got) > 0.01 {
		t.Errorf("water content is off by %.4f", got)
	}
	if asked < 6 || asked > 9 {
		t.Errorf("%d advice in 7 days", asked)
	}
}

// The same events give the same outputs, byte for byte, and a zone that was
// stopped and restored half way goes on as one that never stopped.
func TestSameEventsSameOutputs(t *testing.T) {
	record := func(restart func(*Zone) *Zone) []byte {
		var b bytes.Buffer
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		play(t, z, monday, 4, restart, func(at time.Time, out Output) {
			line, err := json.Marshal(out)
			if err != nil {
				t.Fatal(err)
			}
			b.WriteString(at.String())
			b.Write(line)
			b.WriteByte('\n')
		})
		return b.Bytes()
	}
	first := record(nil)
	if !bytes.Equal(first, record(nil)) {
		t.Error("twice the same events, two outputs")
	}
	restored := record(func(z *Zone) *Zone {
		snapshot := z.Snapshot()
		t.Logf("a snapshot is %d bytes", len(snapshot))
		again, err := Restore(bench(), snapshot)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(again.Snapshot(), snapshot) {
			t.Error("the snapshot of a restored zone differs")
		}
		return again
	})
	if !bytes.Equal(first, restored) {
		a, b := bytes.Split(first, []byte("\n")), bytes.Split(restored, []byte("\n"))
		for i := range min(len(a), len(b)) {
			if !bytes.Equal(a[i], b[i]) {
				t.Fatalf("line %d differs:\n%s\n%s", i, a[i], b[i])
			}
		}
		t.Error("lengths differ")
	}
}

// Where the guard lets no water pass, the advice speaks of a day without: no shot that
// is none, and no water content that only shots would bring.
func TestWhatTheGuardHoldsBackIsNotExplained(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	from := time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	play(t, z, from, 2, nil, func(time.Time, Output) {})
	at, day := z.m.NowMs, z.today.day
	day = z.settings.DayAt(day.Next) // of the evening before
	r := z.request(at, day)
	p := plan.Best(r, &z.scratch.plan)
	if p.Action != advice.Irrigate {
		t.Fatalf("%s; want a plan with water to hold back", p.Action)
	}
	r.SaturationPoint, day.Start = 0.2, instant(at)
	z.put(at, day, r, &p)
	a := z.scratch.out.Advice
	if a.Action != advice.Withhold || a.Setpoints.MaxVolumeML != 0 || a.Expected.DrainML != 0 {
		t.Errorf("%s, %+v, %+v", a.Action, a.Setpoints, a.Expected)
	}
	codes := map[string]bool{}
	for _, why := range a.Reasons {
		codes[why.Code] = true
	}
	if !codes["guard-air"] || !codes["withhold-saturated"] || codes["rewet"] || codes["single-shot"] || codes["hold"] || codes["last-shot-for-dryback"] {
		t.Errorf("reasons %v", a.Reasons)
	}
	r.Quorum = false
	p = plan.Proposal{Action: advice.Irrigate, Setpoints: p.Setpoints, Expected: p.Expected, Reasons: p.Reasons}
	z.put(at, day, r, &p)
	if a := z.scratch.out.Advice; a.Action != advice.Inspect || a.Expected != nil || len(a.Reasons) == 0 || a.Reasons[0].Code != "guard-quorum" {
		t.Errorf("%s, %+v", a.Action, a.Reasons)
	}
}
