package forecast

import (
	"math"
	"testing"
)

// What is told of several ways is their mean, and a plan that went any of them
// was executed.
func TestWaysAreTakenTogether(t *testing.T) {
	s := newSeason(t, 1)
	s.play(3, func(float64, *Scored) {})
	var sit Situation
	var wet, dry, both Published
	var m Scratch
	at := s.zone.AtMs - s.zone.AtMs%IssueEvery
	Build(&s.zone, &s.c, at, Steps24h, &sit)
	shot := 0.03 * sit.VolumeML
	one, two := []Shot{{Step: 100, VolumeML: shot}}, []Shot{{Step: 100, VolumeML: shot}, {Step: 150, VolumeML: shot}}
	r := s.record
	r.Missed = [HorizonCount]Missed{}
	r.Publish(&s.zone, &s.c, &sit, one, &dry, &m)
	r.Publish(&s.zone, &s.c, &sit, two, &wet, &m)
	r.PublishWays(&s.zone, &s.c, &sit, []Way{{0.75, 1, one}, {0.25, 1, two}}, &both, &m)
	for k, v := range both.Plan.WaterContent {
		if want := 0.75*dry.Plan.WaterContent[k] + 0.25*wet.Plan.WaterContent[k]; math.Abs(v-want) > 1e-12 {
			t.Fatalf("step %d: %v, expected %v", k, v, want)
		}
	}
	if p := both.planned[HorizonCount-1]; p.least != shot || p.most != 2*shot {
		t.Errorf("the ways give %v to %v mL, expected %v to %v", p.least, p.most, shot, 2*shot)
	}
	slot := Slot{Least: packShare(0.03), Most: packShare(0.06), Plan: pack(0.5), PlanHalf: pack(0.1)}
	for given, executed := range map[float64]bool{0.015: false, 0.03: true, 0.045: true, 0.06: true, 0.075: false} {
		if got := !r.scorePlan(1, 4, &slot, given, 0.5).NotAsExecuted; got != executed {
			t.Errorf("given %v of the container: executed %v, expected %v", given, got, executed)
		}
	}
}

// The thirsts are standard normal: their middle is the middle, and they are as far
// out on both sides.
func TestUptakesStandForAll(t *testing.T) {
	for i, q := range Thirst {
		if p := 0.5 * math.Erfc(-q/math.Sqrt2); math.Abs(p-(0.1+0.2*float64(i))) > 1e-4 {
			t.Errorf("quantile %v is at %v, expected the middle of fifth %d", q, p, i+1)
		}
	}
	if UptakeAt(0, 0.4) != 1 || math.Abs(UptakeAt(1, 0.4)-1.4) > 1e-12 {
		t.Errorf("uptakes %v and %v, expected 1 and 1.4", UptakeAt(0, 0.4), UptakeAt(1, 0.4))
	}
}

// A balance that is off the same way each day is put right, chance is not, and one
// day that went wrong moves little.
func TestWhatPlansMissedIsMadeUp(t *testing.T) {
	var steady, chance, once Missed
	random := uint64(1)
	for k := range 48 * 10 {
		random = random*6364136223846793005 + 1442695040888963407
		u := float64(random>>11)/(1<<53) - 0.5
		steady.add(0.01)
		chance.add(0.02 * u)
		if k < 48 {
			once.add(0.1)
		} else {
			once.add(0)
		}
	}
	if s := steady.shift(); s < 0.006 || s > 0.01 {
		t.Errorf("ten days off by 0.01 make a shift of %v", s)
	}
	if s := chance.shift(); math.Abs(s) > 0.001 {
		t.Errorf("chance makes a shift of %v", s)
	}
	if s := once.shift(); s > 0.002 {
		t.Errorf("one day off by 0.1 still makes a shift of %v nine days later", s)
	}
	var r Record
	for h := range r.Missed {
		r.Missed[h] = steady
	}
	dry, out := []float64{0.5, 0.49, 0.48}, []float64{0.5, 0.495, 0.49}
	r.Missed[0].Sum *= -1
	r.shiftPlan(dry, out)
	if out[0] != 0.5 || !(out[1] < 0.495) || out[2] < dry[2] {
		t.Errorf("shifted to %v over %v without water", out, dry)
	}
}
