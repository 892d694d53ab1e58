package policy

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/hydraulics"
	"rhizostat/policy/plan"
	"rhizostat/policy/sensing"
)

var plug = hydraulics.Container{Name: "plug", HeightCM: 8, TopDiameterCM: 8, BottomDiameterCM: 6, Wall: hydraulics.Solid}

// Limits that the site leaves to the container's size grow with the container, also over
// a restart; those that it says are the site's and stay.
func TestLimitsFollowTheContainer(t *testing.T) {
	for name, c := range map[string]struct {
		follow plan.LimitsOfContainer
		grows  [2]bool // shot, day
	}{
		"both left out": {plan.LimitsOfContainer{Shot: true, Daily: true}, [2]bool{true, true}},
		"shot said":     {plan.LimitsOfContainer{Daily: true}, [2]bool{false, true}},
		"both said":     {plan.LimitsOfContainer{}, [2]bool{false, false}},
	} {
		t.Run(name, func(t *testing.T) {
			s := bench()
			pot := s.Container
			s.Containers = map[string]hydraulics.Container{"pot": pot}
			s.Container, s.Probes = plug, s.Probes[:1]
			s.Probes[0].HeightCM = 3
			s.Limits = plan.Limits{MaxShotML: 15, MaxDailyML: 200, MinIntervalMin: 15, OfContainer: c.follow}
			z, err := New(s)
			if err != nil {
				t.Fatal(err)
			}
			before, small := z.ground.limits, z.ground.constants.VolumeML
			z.Step(Event{Kind: Operator, At: monday, Operator: &OperatorEvent{Kind: Transplanted, By: "ann", Container: "pot"}})
			again, err := Restore(s, z.Snapshot())
			if err != nil {
				t.Fatal(err)
			}
			grew := z.ground.constants.VolumeML / small
			for _, l := range []plan.Limits{z.ground.limits, again.ground.limits} {
				for i, got := range [2][2]float64{{before.MaxShotML, l.MaxShotML}, {before.MaxDailyML, l.MaxDailyML}} {
					switch {
					case c.grows[i] && got[1] < 0.5*grew*got[0]:
						t.Errorf("limit %d is %v mL after %v in a container %.0f times as large; expected it to grow with it", i, got[1], got[0], grew)
					case !c.grows[i] && got[1] != got[0]:
						t.Errorf("limit %d is %v mL, and the site said %v", i, got[1], got[0])
					}
				}
			}
		})
	}
}

// The water of a new pot is not the old one's: from its first reading on the account goes
// on, and the difference is neither drain nor a dryback.
func TestNewPotNeitherDrainsNorDriesBack(t *testing.T) {
	z, _ := lived(t, 3)
	at := instant(z.m.NowMs)
	sums, depth := z.m.Learned.Sums24h(), z.m.Learned.Zigzag.LastDepth
	z.Step(Event{Kind: Operator, At: at.Add(2 * time.Minute), Operator: &OperatorEvent{Kind: Transplanted, By: "ann"}})
	if _, _, ok := z.m.Learned.WaterContent(); ok {
		t.Error("the water content of a pot is known that no probe has told of")
	}
	level := z.m.Learned.Level - 0.09 // fresh substrate is drier
	for m := 5; m <= 180; m += 5 {
		now := at.Add(time.Duration(m) * time.Minute)
		for k := range z.settings.Probes {
			e := Event{Kind: Reading, At: now, Stamp: now, Source: k}
			e.Values.Set(sensing.WaterContent, z.ground.tables[k].Reading(level))
			z.Step(e)
		}
		if m == 10 { // watered in before much was read
			z.Step(heard(now, -1, map[sensing.Signal]float64{sensing.IrrigationVolume: 20}))
		}
	}
	if got, _, ok := z.m.Learned.WaterContent(); !ok || math.Abs(got-level) > 0.02 {
		t.Errorf("the new pot is at %.3f, %v; its probes say %.3f", got, ok, level)
	}
	after := z.m.Learned.Sums24h()
	if after.DrainML > sums.DrainML+25 {
		t.Errorf("%.0f mL drained in 24 h, %.0f before the transplant: the old pot's water was booked as drain", after.DrainML, sums.DrainML)
	}
	if got := z.m.Learned.Zigzag.LastDepth; got != depth {
		t.Errorf("the newest dryback is %.3f, where it was %.3f", got, depth)
	}
}

// What drained from a plug says nothing of how much water will do for the pot that its roots
// were put into, nor does what it used to get.
func TestANewPotIsNotHeldToThePlugsWater(t *testing.T) {
	s := bench()
	pot := s.Container
	s.Containers = map[string]hydraulics.Container{"pot": pot}
	s.Container, s.Probes = plug, s.Probes[:1]
	s.Probes[0].HeightCM = 3
	s.Limits = plan.Limits{MaxShotML: 15, MaxDailyML: 200, MinIntervalMin: 15, OfContainer: plan.LimitsOfContainer{Shot: true, Daily: true}}
	z, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	reads := func(at time.Time, level float64) {
		e := Event{Kind: Reading, At: at, Stamp: at, Source: 0}
		e.Values.Set(sensing.WaterContent, z.ground.tables[0].Reading(level))
		z.Step(e)
	}
	at, full := monday, z.ground.constants.DesignCapacity-0.01
	for m := 0; m < 26*60; m += 5 {
		at = monday.Add(time.Duration(m) * time.Minute)
		reads(at, full)
	}
	a := &z.m.Learned.Account // 120 mL a day, of which 84 mL drained and were caught
	a.DrainMs, z.m.Plans.UsualML = at.UnixMilli(), 120
	for i := range a.Irrigation {
		a.Irrigation[i], a.Uptake[i], a.Drain[i], a.Reported[i] = 5, 1.5, 3.5, 3.5
	}
	if ml := z.enough(at.UnixMilli()); ml <= 0 || ml > 150 {
		t.Fatalf("%.0f mL will do for the plug; the test wants a plug of which most drained", ml)
	}
	z.Step(Event{Kind: Operator, At: at.Add(time.Minute), Operator: &OperatorEvent{Kind: Transplanted, By: "ann", Container: "pot"}})
	for range 12 * 20 {
		at = at.Add(5 * time.Minute)
		reads(at, 0.5)
		for _, day := range []IrrigationDay{z.today.day, z.settings.DayAt(z.today.day.Next)} {
			if l, wasted := z.limits(at.UnixMilli(), day); wasted || l.MaxDailyML != z.ground.limits.MaxDailyML {
				t.Fatalf("at %s a day may give %.0f mL to the new pot; expected its %.0f", at.Format("02 15:04"), l.MaxDailyML, z.ground.limits.MaxDailyML)
			}
		}
	}
	if ml := z.m.Plans.UsualML; ml != 0 {
		t.Errorf("%.0f mL are taken for the new pot's usual day, of which it has had none", ml)
	}
}

// A pot that is changed in the middle of a day has not been brought back up by what its
// predecessor got, and a reading that comes late is the old pot's.
func TestANewPotBeginsItsDay(t *testing.T) {
	z, at := lived(t, 3)
	at = z.settings.DayAt(at.Add(time.Minute)).Next.Add(4 * time.Hour)
	z.Step(Event{Kind: Wake, At: at})
	z.m.Cycle.SeenDayMs, z.m.Cycle.ShotsToday, z.m.Cycle.FirstReachedMs = z.today.fromMs, 3, at.Add(-2*time.Hour).UnixMilli()
	if z.partOfDay(at.UnixMilli()) != "hold" {
		t.Fatalf("the old pot is in its %s; the test wants it in its hold", z.partOfDay(at.UnixMilli()))
	}
	moved := at
	at = at.Add(4 * time.Minute)
	z.Step(Event{Kind: Operator, At: at, Operator: &OperatorEvent{Kind: Transplanted, By: "ann", At: moved}})
	if got := z.partOfDay(at.UnixMilli()); got == "hold" || z.m.Cycle.FirstReachedMs != 0 {
		t.Errorf("the new pot is in its %s before its first water", got)
	}
	dropped := 0
	reads := func(stamp time.Time) {
		at = at.Add(time.Minute)
		for k := range z.settings.Probes {
			e := Event{Kind: Reading, At: at, Stamp: stamp, Source: k}
			e.Values.Set(sensing.WaterContent, 0.5)
			dropped += z.Step(e).OldContainer
		}
	}
	reads(moved.Add(-time.Minute))
	if dropped != len(z.settings.Probes) {
		t.Errorf("%d readings of the old pot are counted; %d came", dropped, len(z.settings.Probes))
	}
	if got, _, ok := z.m.Learned.WaterContent(); ok {
		t.Errorf("a reading of the old pot makes the new one's water content %.3f", got)
	}
	for range 3 {
		reads(at.Add(time.Minute))
	}
	if _, _, ok := z.m.Learned.WaterContent(); !ok {
		t.Error("the new pot's own readings do not count")
	}
}
