package policy

import (
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/hydraulics"
)

// The plan of the evening before a stage's first day is made for the band of
// that stage, while the day that still runs keeps its own.
func TestThePlanOfTheEveningHasTheBandOfItsDay(t *testing.T) {
	s := bench()
	full, refill := 0.50, 0.42
	begins := monday.Truncate(24*time.Hour).AddDate(0, 0, 3)
	s.Stages = []Stage{{Name: "generative", From: begins, Band: hydraulics.BandSpec{
		FullPoint: &full, RefillPoint: &refill, OvernightDryback: 0.05, DrainFraction: 0.25}}}
	z, err := New(s)
	if err != nil {
		t.Fatal(err)
	}
	before := z.ground.band.FullPoint
	if before < full+0.03 {
		t.Fatalf("the zone's own full point %v is not above the stage's", before)
	}
	old, changed := 0, 0
	play(t, z, monday, 4, nil, func(at time.Time, out Output) {
		if out.State != nil {
			want := before
			if !at.Before(begins.Add(6 * time.Hour)) {
				want = full
			}
			if out.State.FullPoint != want {
				t.Fatalf("at %v the full point is %v; expected %v", at, out.State.FullPoint, want)
			}
		}
		a := out.Advice
		if a == nil || a.Setpoints == nil || a.Action != advice.Irrigate {
			return
		}
		sp := a.Setpoints
		if a.ValidFrom.Before(begins) {
			old++
			if sp.DrainFraction != 0.1 {
				t.Errorf("for %v a drain fraction of %v is planned", a.ValidFrom, sp.DrainFraction)
			}
			return
		}
		changed++
		if sp.DrainFraction != 0.25 || sp.TargetWaterContent > full+1e-9 {
			t.Errorf("issued %v for %v: drain fraction %v, target %v; expected those of the stage", a.IssuedAt, a.ValidFrom, sp.DrainFraction, sp.TargetWaterContent)
		}
	})
	if old == 0 || changed == 0 {
		t.Errorf("%d plans before the stage, %d in it", old, changed)
	}
}
