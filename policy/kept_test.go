package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/sensing"
)

// However often people are asked to look, the plan in force stays known.
func TestInspectionsPushNoPlanOut(t *testing.T) {
	z, _ := lived(t, 3)
	at := time.Date(2026, 5, 7, 6, 30, 0, 0, time.UTC)
	z.Step(Event{Kind: Wake, At: at})
	q := z.inForce(at.UnixMilli())
	if q == nil {
		t.Fatal("no plan is in force")
	}
	id := q.Advice.ID
	for range 2 * maxPlans {
		at = at.Add(time.Minute)
		z.propose(&advice.Advice{Action: advice.Inspect, ValidFrom: at, ValidUntil: z.today.day.Next, Reasons: advice.InspectLimits()}, at.UnixMilli())
	}
	if q = z.inForce(at.UnixMilli()); q == nil || q.Advice.ID != id {
		t.Fatalf("after %d inspections %v is in force; expected %s", 2*maxPlans, q, id)
	}
	if len(z.plans) > maxPlans {
		t.Errorf("%d plans are kept; expected at most %d", len(z.plans), maxPlans)
	}
	z.Step(Event{Kind: Approved, At: at, Approval: &Approval{Advice: id, State: StateWithdrawn}})
	if !z.m.Plans.Closed {
		t.Error("a person withdrew the plan and the day is not closed")
	}
}

// A plan made for another container is nothing to stay near.
func TestRepottedForgetsThePlanBefore(t *testing.T) {
	s := bench()
	s.Containers = map[string]hydraulics.Container{"flat": {Name: "flat", HeightCM: 8, TopDiameterCM: 30, BottomDiameterCM: 28, Wall: hydraulics.Solid}}
	z, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	play(t, z, monday, 3, nil, func(time.Time, Output) {})
	at := instant(z.m.NowMs)
	if z.previous() == nil {
		t.Fatal("there is no plan before")
	}
	z.Step(Event{Kind: Operator, At: at, Operator: &OperatorEvent{Kind: RootsDisturbed}})
	if z.previous() == nil {
		t.Error("roots were disturbed in the same container; its plan still is the one before")
	}
	z.Step(Event{Kind: Operator, At: at.Add(time.Minute), Operator: &OperatorEvent{Kind: Transplanted, Container: "flat"}})
	if p := z.previous(); p != nil {
		t.Errorf("after the transplant the plan before is %+v; expected none", p)
	}
}

// Another substrate that cannot hold the site's band gets the band of its physics, as
// another container does, and its own numbers.
func TestOtherSubstrateThatCannotHoldTheBand(t *testing.T) {
	full, refill := 0.58, 0.50
	s := bench()
	s.Band = hydraulics.BandSpec{FullPoint: &full, RefillPoint: &refill, OvernightDryback: 0.05, DrainFraction: 0.1}
	s.Substrates = map[string]hydraulics.Substrate{"sand": {Name: "sand", TotalPorosity: 0.42, Provenance: hydraulics.FromSite,
		Retention: hydraulics.Retention{ThetaR: 0.045, ThetaS: 0.41, AlphaPerKPa: 1.4, N: 2.68}}}
	z, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	out := z.Step(Event{Kind: Operator, At: monday.Add(8 * time.Hour), Operator: &OperatorEvent{Kind: SubstrateChanged, Substrate: "sand"}})
	if z.ground.substrate.Name != "sand" || !z.ground.misfit {
		t.Errorf("the physics are those of %s, misfit %v; expected sand that cannot hold the band", z.ground.substrate.Name, z.ground.misfit)
	}
	if b := z.ground.band; b.FullPoint >= 0.42 {
		t.Errorf("the band is %v to %v; expected one that a porosity of 0.42 can hold", b.RefillPoint, b.FullPoint)
	}
	if out.Advice == nil || out.Advice.Action != advice.Inspect {
		t.Errorf("advice %+v; expected an inspection of the band", out.Advice)
	}
}

// Where a replacement for today could not be recorded, tomorrow's plan stands.
func TestUnrecordedReplacementLeavesTomorrow(t *testing.T) {
	z, _ := lived(t, 3) // until midnight: tomorrow's plan was issued in the evening
	at := instant(z.m.NowMs)
	issued := z.m.Plans.IssuedForMs
	z.propose(&advice.Advice{Action: advice.Withhold, ValidFrom: z.today.day.Start, ValidUntil: z.today.day.Next, Setpoints: &advice.Setpoints{TriggerWaterContent: 0.4}}, at.UnixMilli())
	z.Step(Event{Kind: Unrecorded, At: at.Add(time.Second)})
	if z.m.Plans.IssuedForMs != issued {
		t.Errorf("the latest day planned for is %v; expected %v still", instant(z.m.Plans.IssuedForMs), instant(issued))
	}
}

// What water is enough is settled with the first plan of a day, also when another day is
// planned in between.
func TestEnoughIsSettledOncePerDay(t *testing.T) {
	z, _ := lived(t, 3)
	day, next, at := z.today.day, z.settings.DayAt(z.today.day.Next), z.m.NowMs
	drains := func(mlPerHour float32) {
		a := &z.m.Learned.Account
		for i := range a.Irrigation {
			a.Irrigation[i], a.Reported[i], a.Drain[i], a.Uptake[i] = mlPerHour, 0.6*mlPerHour, 0.6*mlPerHour, 5
		}
		a.DrainMs = at
		z.m.Learned.Open.GivenML, z.m.Learned.Open.ModelML = 0, 0
	}
	z.m.Plans.Enough = [2]enough{}
	drains(100)
	first, wasted := z.limits(at, next)
	drains(50)
	z.limits(at, day)
	again, _ := z.limits(at, next)
	if !wasted || first != again {
		t.Errorf("tomorrow's limits were %+v, wasted %v, and are %+v after a look at today", first, wasted, again)
	}
}

// There are no more seconds in a day than 86,400, however they are counted.
func TestWindowHoldsADay(t *testing.T) {
	for _, step := range []int64{60, 240, 900} {
		var w window
		for k := int64(1); k < 50*3600/step; k++ {
			at := monday.UnixMilli() + k*step*1000
			w.add(at, float64(step))
			if got := w.sum(at); got > 86400 {
				t.Fatalf("every %d s: %v s in 24 h", step, got)
			}
		}
	}
}

// A probe that is silent reports nothing; one that is ill does.
func TestIllProbesAreNotCalledSilent(t *testing.T) {
	z, at := lived(t, 3)
	asked := false
	for range 600 {
		at = at.Add(time.Minute)
		for k := range 2 {
			out := z.Step(heard(at, k, map[sensing.Signal]float64{sensing.WaterContent: 0.55}))
			if a := out.Advice; a != nil && a.Action == advice.Inspect {
				asked = true
				for _, r := range a.Reasons {
					if r.Code == "inspect-silent" {
						t.Fatalf("both probes spoke within a minute and people are told: %s", r.Text)
					}
				}
			}
		}
	}
	if !asked {
		t.Error("both probes are stuck and nobody is asked to look")
	}
}
