package policy

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/sensing"
)

// A VPD that was told once gives way to what temperature and humidity say today.
func TestVapourPressureDeficitGrowsOld(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	at := monday.Add(12 * time.Hour)
	z.Step(heard(at, Climate, map[sensing.Signal]float64{sensing.VapourPressureDeficit: 3}))
	for range 60 {
		at = at.Add(5 * time.Minute)
		z.Step(heard(at, Climate, map[sensing.Signal]float64{sensing.AirTemperature: 18, sensing.RelativeHumidity: 95}))
	}
	// 5 % of the saturation pressure at 18 Cel, 2.064 kPa (Allen et al. 1998, FAO-56, table 2.3).
	if got, ok := z.m.Climate.Deficit(); !ok || math.Abs(got-0.103) > 0.003 {
		t.Errorf("the deficit is %.3f kPa, %v; expected 0.103, of 18 Cel and 95 %%", got, ok)
	}
}

// The zone's salt and temperature are the mean of its probes', in whatever order and
// however close to each other they speak.
func TestSlowSignalsAreTheProbesMean(t *testing.T) {
	for _, apart := range []time.Duration{0, time.Second, 2 * time.Minute} {
		for _, ec := range [][2]float64{{2, 4}, {4, 2}} {
			z, err := New(bench())
			if err != nil {
				t.Fatal(err)
			}
			for m := 0; m < 24*60; m += 5 {
				at := monday.Add(time.Duration(m) * time.Minute)
				for k := range 2 {
					z.Step(heard(at.Add(time.Duration(k)*apart), k, map[sensing.Signal]float64{sensing.WaterContent: 0.5, sensing.PoreEC: ec[k], sensing.SubstrateTemperature: 10 * ec[k]}))
				}
			}
			if got := z.m.PoreEC.Value; math.Abs(got-3) > 0.15 {
				t.Errorf("probes %v apart tell %v mS/cm, the zone has %.2f; expected 3", apart, ec, got)
			}
			if got := z.m.Temp.Value; math.Abs(got-30) > 2 {
				t.Errorf("probes %v apart tell %v Cel, the zone has %.1f; expected 30", apart, [2]float64{10 * ec[0], 10 * ec[1]}, got)
			}
		}
	}
}

// Signals that come in messages of their own count as those that come together.
func TestSlowSignalsInMessagesOfTheirOwn(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	for m := range 48 * 60 {
		at := monday.Add(time.Duration(m) * time.Minute)
		ec, cel := 2.0, 20.0
		if m >= 24*60 {
			ec, cel = 4, 26
		}
		z.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: 0.5, sensing.SubstrateTemperature: cel}))
		z.Step(heard(at.Add(100*time.Millisecond), 0, map[sensing.Signal]float64{sensing.PoreEC: ec}))
	}
	if ec, cel := z.m.PoreEC.Value, z.m.Temp.Value; math.Abs(ec-4) > 0.05 || math.Abs(cel-26) > 0.1 {
		t.Errorf("after a day at 4 mS/cm and 26 Cel the zone has %.2f and %.1f", ec, cel)
	}
}

// A probe that has come to hang makes no new reading of the good one's old one.
func TestIllProbesMakeNoDataFresh(t *testing.T) {
	z, err := New(bench())
	if err != nil {
		t.Fatal(err)
	}
	at := monday
	feed := func(minutes int, good, moves bool) {
		for range minutes {
			at = at.Add(time.Minute)
			m := int(at.Sub(monday) / time.Minute)
			v := 0.5 - 0.00015*float64(m%1200)
			if good && m%20 == 0 {
				z.Step(heard(at, 0, map[sensing.Signal]float64{sensing.WaterContent: v + 0.0007*float64(m/20%2)}))
			}
			w := 0.45
			if moves {
				w = v + 0.001*float64(m%2)
			}
			z.Step(heard(at, 1, map[sensing.Signal]float64{sensing.WaterContent: w}))
		}
	}
	feed(2*24*60, true, true)
	feed(30*60, true, false)
	if got := z.health(1, at.UnixMilli()); got != sensing.Stuck {
		t.Fatalf("the second probe is %v; expected stuck", got)
	}
	silent := at
	for range 8 * 60 {
		feed(1, false, false)
		r := z.request(at.UnixMilli(), z.today.day)
		in := z.guardInput(at.UnixMilli(), z.today.day, r, nil)
		if age := at.Sub(silent); in.DataAge < age-20*time.Minute {
			t.Fatalf("the good probe has been silent for %v, the guard is told that data are %v old", age, in.DataAge)
		}
	}
}

// The guard allows for what the crop drinks until the day ends, not for what it drinks
// after that.
func TestGuardCountsTheDaysUptake(t *testing.T) {
	z, at := lived(t, 5)
	day := z.settings.DayAt(z.today.day.Next)
	r := z.request(at.UnixMilli(), day)
	most := z.guardInput(at.UnixMilli(), day, r, nil).MostUptakeML
	until := 0.0
	for _, ml := range r.Situation.UptakeML[:int(day.Next.Sub(at)/(5*time.Minute))+1] {
		until += ml
	}
	want := until * (1 + thirsty*r.Situation.UptakeRelSD)
	if math.Abs(most-want) > 0.01*want {
		t.Errorf("the guard is told %.0f mL; expected %.0f mL, from %v to %v", most, want, at, day.Next)
	}
}
