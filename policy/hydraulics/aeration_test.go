package hydraulics

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func anyAeration(t *rapid.T) Aeration {
	return Aeration{
		CriticalAirFilledPorosity: rapid.Float64Range(0.03, 0.3).Draw(t, "critical"),
		ToleratedShare:            rapid.Float64Range(0.05, 0.95).Draw(t, "tolerated"),
	}
}

// TestSaturatedShareByLayers counts thin layers that lack air.
func TestSaturatedShareByLayers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, a := anyProfile(t), anyAeration(t)
		mean := rapid.Float64Range(p.MinMean(), p.MaxMean()).Draw(t, "mean")
		const layers = 500
		var without float64
		for i := range layers {
			z := (float64(i) + 0.5) / layers * p.height
			if p.TotalPorosity()-p.WaterContentAt(mean, z) < a.CriticalAirFilledPorosity {
				without += p.container.AreaCM2(z) * p.height / layers
			}
		}
		got := p.SaturatedShare(mean, a.CriticalAirFilledPorosity)
		if math.Abs(got-without/p.VolumeML()) > 0.01 {
			t.Fatalf("saturated share %.4f, by layers %.4f", got, without/p.VolumeML())
		}
	})
}

// TestSaturationPoint: above it more than the tolerated share lacks air, below
// it no more; and the margin at 20 Cel has its sign.
func TestSaturationPoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, a := anyProfile(t), anyAeration(t)
		e := p.Aerate(a)
		point := p.SaturationPoint(a)
		mean := rapid.Float64Range(p.MinMean(), p.MaxMean()).Draw(t, "mean")
		share, margin := p.SaturatedShare(mean, a.CriticalAirFilledPorosity), p.AerationMargin(mean, 20, a)
		switch {
		case mean > point+1e-6 && (share < a.ToleratedShare-1e-9 || margin > 1e-6):
			t.Fatalf("mean %.6f above the point %.6f: share %.6f of %.6f, margin %g", mean, point, share, a.ToleratedShare, margin)
		case mean < point-1e-6 && (share > a.ToleratedShare+1e-9 || margin < -1e-6):
			t.Fatalf("mean %.6f below the point %.6f: share %.6f of %.6f, margin %g", mean, point, share, a.ToleratedShare, margin)
		}
		if e.SaturatedShare(mean) != share || e.Margin(mean, 20) != margin || e.SaturationPoint() != point {
			t.Fatal("worked-in aeration answers differently")
		}
	})
}

// TestMarginFalls with water and with warmth, stays within its bounds and has no
// step.
func TestMarginFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, a := anyProfile(t), anyAeration(t)
		mean := rapid.Float64Range(p.MinMean(), p.MaxMean()).Draw(t, "mean")
		wetter := rapid.Float64Range(mean, p.MaxMean()).Draw(t, "wetter")
		temp := rapid.Float64Range(0, 40).Draw(t, "temperature")
		warmer := rapid.Float64Range(temp, 40).Draw(t, "warmer")
		m := p.AerationMargin(mean, temp, a)
		if w := p.AerationMargin(wetter, temp, a); w > m+1e-12 {
			t.Fatalf("margin %g at %g, %g at %g", m, mean, w, wetter)
		}
		if w := p.AerationMargin(mean, warmer, a); w > m+1e-12 {
			t.Fatalf("margin %g at %g Cel, %g at %g Cel", m, temp, w, warmer)
		}
		if !(m >= -1 && m <= 1) {
			t.Fatalf("margin %g", m)
		}
		if w := p.AerationMargin(mean, math.Min(temp+1e-6, 40), a); math.Abs(w-m) > 1e-5 {
			t.Fatalf("a step of %g at %g Cel", w-m, temp)
		}
	})
}

// TestMarginDefinition works the margin out by hand from its doc comment.
func TestMarginDefinition(t *testing.T) {
	// Straight sides: half of the volume lies below half of the height.
	c := Container{HeightCM: 20, LengthCM: 30, WidthCM: 20}
	p, err := NewProfile(coirMix, c)
	if err != nil {
		t.Fatal(err)
	}
	cases := []struct{ mean, temp float64 }{{0.5, 20}, {0.6, 30}, {0.75, 20}, {0.8, 20}, {0.8, 35}, {0.88, 10}}
	for _, x := range cases {
		air := 0.92 - p.WaterContentAt(x.mean, 10)
		d := DefaultDiffusivity
		supply := d.RelativeDiffusivity(air, 0.92) / d.RelativeDiffusivity(0.10, 0.92)
		r := supply / OxygenBurden(x.temp)
		want := r - 1
		if r >= 1 {
			want = 1 - 1/r
		}
		if got := p.AerationMargin(x.mean, x.temp, DefaultAeration); math.Abs(got-want) > 1e-9 {
			t.Errorf("mean %g at %g Cel: %.9f, want %.9f", x.mean, x.temp, got, want)
		}
	}
}

// TestMarginAtCriticalTemperature: the margin is 0 where the tolerated height
// holds just the air that is critical at that temperature.
func TestMarginAtCriticalTemperature(t *testing.T) {
	p := coirPot(t)
	for _, temp := range []float64{5, 12, 20, 26, 33, 40} {
		a := Aeration{CriticalAirFilledPorosity: CriticalAirFilledPorosity(0.10, temp), ToleratedShare: 0.5}
		mean := p.SaturationPoint(a)
		if got := p.AerationMargin(mean, temp, DefaultAeration); math.Abs(got) > 1e-5 {
			t.Errorf("at %g Cel the margin is %g where air is critical", temp, got)
		}
	}
}

func TestAerationEnds(t *testing.T) {
	p := coirPot(t)
	full := Aeration{CriticalAirFilledPorosity: 0.015, ToleratedShare: 0.5} // trapped air of 0.02 is enough
	never := Aeration{CriticalAirFilledPorosity: 0.10, ToleratedShare: 1}
	always := Aeration{CriticalAirFilledPorosity: 0.85, ToleratedShare: 0.5} // theta_r leaves 0.84
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"air enough when full", p.SaturationPoint(full), p.MaxMean()},
		{"share when full, air enough", p.SaturatedShare(p.MaxMean(), 0.015), 0},
		{"all is tolerated", p.SaturationPoint(never), p.MaxMean()},
		{"never air enough", p.SaturationPoint(always), p.MinMean()},
		{"share, never air enough", p.SaturatedShare(p.MinMean(), 0.85), 1},
		{"share when full", p.SaturatedShare(p.MaxMean(), 0.10), 1},
		{"air above total porosity", p.AirFilledPorosity(0.95), 0},
		{"air", p.AirFilledPorosity(0.60), 0.32},
		{"critical at 20 Cel", CriticalAirFilledPorosity(0.10, 20), 0.10},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s: %g, want %g", c.name, c.got, c.want)
		}
	}
	if got := FieldErrors((Aeration{0, 2}).Validate()); len(got) != 2 {
		t.Errorf("faults %v, want two", got)
	}
	if err := DefaultAeration.Validate(); err != nil {
		t.Error(err)
	}
}

func TestAvailable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		easy, reserve := p.EasilyAvailableML(), p.BufferingML()
		if !(easy >= 0 && reserve >= 0) || easy+reserve > p.VolumeML() {
			t.Fatalf("easily available %g, buffering %g mL in %g", easy, reserve, p.VolumeML())
		}
		// Down to 10 kPa a container at the wetter of 1 kPa and capacity gives both.
		wet := math.Min(p.ContainerCapacity(), p.MeanAtSuction(1))
		if d := p.AvailableML(wet, 10) - easy - reserve; math.Abs(d) > 2e-6*p.VolumeML() {
			t.Fatalf("available to 10 kPa is %g mL off easily available and buffering", d)
		}
		a := rapid.Float64Range(0, 1).Draw(t, "a")
		b := rapid.Float64Range(a, 1).Draw(t, "b")
		if p.AvailableML(a, 5) > p.AvailableML(b, 5)+1e-9 {
			t.Fatal("a wetter container has less to give")
		}
	})
	if got := coirPot(t).AvailableML(0.1, 5); got != 0 {
		t.Errorf("drier than the limit: %g mL, want 0", got)
	}
}
