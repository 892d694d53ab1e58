package policy

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// heard is a reading of a source at a time: signals and values in turn.
func heard(at time.Time, source int, values map[sensing.Signal]float64) Event {
	e := Event{Kind: Reading, At: at, Stamp: at, Source: source}
	for s, x := range values {
		e.Values.Set(s, x)
	}
	return e
}

// Totals of irrigation as meters tell them, one a minute from 08:00 on, and the water
// that has come by them, mL.
func TestTotalsOfIrrigation(t *testing.T) {
	for _, c := range []struct {
		name   string
		totals []float64
		came   float64
	}{
		{"a shot", []float64{5000, 5000, 5300}, 300},
		{"the first word is where it begins", []float64{5000}, 0},
		{"it flickers", []float64{250000, 249999.9, 250000, 250000.1}, 0.1},
		{"it was reset and counts from there", []float64{250000, 0, 200}, 200},
		{"it was reset and a shot came before it spoke again", []float64{250000, 150}, 150},
		{"it fell and is back", []float64{250000, 0, 250000, 250300}, 300},
		{"it starts anew each day", []float64{0, 300, 600, -900, 0, 300, 600}, 1200},
		{"it starts anew each day, one shot a day", []float64{0, 300, -960, 0, -480, 300}, 600},
		{"it speaks only when it has counted", []float64{5000, -300, 5300}, 300},
		{"another meter with a higher count", []float64{5000, 90000, 90300}, 300},
		{"another meter with a lower count", []float64{90000, 50000, 50300}, 300},
	} {
		z, err := New(bench())
		if err != nil {
			t.Fatal(err)
		}
		at := monday.Add(8 * time.Hour)
		z.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: 0.45}))
		for _, total := range c.totals {
			if at = at.Add(time.Minute); total < 0 { // so many minutes of silence
				at = at.Add(time.Duration(-total) * time.Minute)
				continue
			}
			z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationTotal: total}))
		}
		if shot := z.m.Learned.Shots.StartMs != 0; shot != (c.came > 0) {
			t.Errorf("%s: a watering is followed: %v; expected one wherever water came", c.name, shot)
		}
		if got := z.shownTotals().IrrigationML; math.Abs(got-c.came) > 0.05 {
			t.Errorf("%s: %v mL came; expected %v", c.name, got, c.came)
		}
	}
}

// What a meter has counted while nobody heard it came in that time, and not as a shot
// of this morning.
func TestTotalAfterAnOutage(t *testing.T) {
	z, _ := lived(t, 3)
	at := instant(z.m.NowMs)
	z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationTotal: 100000}))
	before, missed := z.shownTotals().IrrigationML, 3200.0
	at = time.Date(2026, 5, 9, 6, 40, 0, 0, time.UTC)
	z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationTotal: 100000 + missed}))
	if got := z.shownTotals().IrrigationML - before; math.Abs(got-missed) > 1 {
		t.Errorf("the counter grew by %v mL; expected all %v", got, missed)
	}
	today := z.givenSince(z.today.fromMs, at.UnixMilli())
	if today > 0.05*missed {
		t.Errorf("of today 40 min have gone and %v mL are counted to it; expected their share of the two days", today)
	}
	if day := z.m.Learned.Sums24h().IrrigationML; day < 0.5*missed*24/54 || day > missed {
		t.Errorf("%v mL in the last 24 h; expected the share of them, of %v", day, missed)
	}
	if z.m.Learned.Shots.StartMs != 0 {
		t.Error("a watering is being followed; expected none: it is long over")
	}
}

// A meter and a valve tell of the same water, and so do a total and the volume of the event.
func TestWaterToldTwice(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	at, total := monday.Add(8*time.Hour), 5000.0
	for i := range 180 {
		at = at.Add(time.Minute)
		for k := range 2 {
			z.Step(heard(at, k, map[sensing.Signal]float64{sensing.WaterContent: 0.45}))
		}
		open := 0.0
		if i >= 60 && i < 65 {
			open = 1
		}
		if i == 66 {
			total += 166.7
		}
		z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationTotal: total, sensing.ValveOpen: open}))
	}
	if got := z.m.Learned.Sums24h().IrrigationML; math.Abs(got-166.7) > 0.1 {
		t.Errorf("the meter counted 166.7 mL while the valve was open, %v mL are booked", got)
	}
	at = at.Add(3 * time.Minute)
	z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationTotal: total + 150, sensing.IrrigationVolume: 150}))
	at = at.Add(3 * time.Minute)
	z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationVolume: 150}))
	if got := z.shownTotals().IrrigationML; math.Abs(got-316.7) > 0.1 {
		t.Errorf("%v mL are booked; expected the meter's 316.7 alone", got)
	}
}

// Water of minutes ago is given, though its quarter of an hour is not over: the site's
// limit is for the day.
func TestGivenCountsTheRunningQuarter(t *testing.T) {
	for _, minute := range []int{50, 59, 61, 64} {
		z, _ := lived(t, 3)
		day := time.Date(2026, 5, 7, 6, 0, 0, 0, time.UTC)
		for m := 1; m <= 65; m++ {
			at := day.Add(time.Duration(m) * time.Minute)
			if m == minute {
				z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationVolume: 1500}))
			}
			z.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: 0.45}))
		}
		if got := z.request(z.m.NowMs, z.today.day).GivenML; got < 1500 {
			t.Errorf("1500 mL came %d min after the day's start, 5 to 15 min ago; the plan counts %v mL as given", minute, got)
		}
	}
}

// A site's largest shot is a shot, whatever share of the container it is and however
// seldom the meter speaks.
func TestTotalOfALargeShot(t *testing.T) {
	for _, silent := range []time.Duration{time.Minute, 3 * time.Hour} {
		s := bench()
		s.Limits.MaxShotML = 1000
		z, err := New(s)
		if err != nil {
			t.Fatal(err)
		}
		at := monday.Add(8 * time.Hour)
		z.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: 0.45}))
		z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationTotal: 5000}))
		at = at.Add(silent)
		z.Step(heard(at, ZoneWide, map[sensing.Signal]float64{sensing.IrrigationTotal: 5900}))
		if got := z.shownTotals().IrrigationML; got != 900 || z.m.Learned.Account.GivenML != 900 || z.m.WaterMs != at.UnixMilli() {
			t.Errorf("%v after its last word: %v mL booked, %v reported, water noted: %v; expected a shot of 900", silent, got, z.m.Learned.Account.GivenML, z.m.WaterMs == at.UnixMilli())
		}
	}
}
