package hydraulics

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"
)

// anySubstrate draws a substrate around any curve, with some air that stays.
func anySubstrate(t *rapid.T) Substrate {
	r := anyRetention(t)
	s := Substrate{Retention: r, TotalPorosity: math.Max(0.2, r.ThetaS+rapid.Float64Range(0, 0.02).Draw(t, "trapped"))}
	if err := s.Validate(); err != nil {
		t.Fatalf("drew a refused substrate %+v: %v", s, err)
	}
	return s
}

func anyProfile(t *rapid.T) *Profile {
	p, err := NewProfile(anySubstrate(t), anyContainer(t))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestQuadratureAgainstLibrary holds the rule against a general library's.
func TestQuadratureAgainstLibrary(t *testing.T) {
	x, w := make([]float64, 16), make([]float64, 16)
	quad.Legendre{}.FixedLocations(x, w, -1, 1)
	for k := range gaussX {
		if d := math.Abs(gaussX[k] - x[7-k]); d > 1e-15 {
			t.Errorf("node %d differs by %g", k, d)
		}
		if d := math.Abs(gaussW[k] - w[7-k]); d > 1e-15 {
			t.Errorf("weight %d differs by %g", k, d)
		}
	}
}

// TestProfileHoldsItsMean: the water in the profile, layer by layer, is the mean
// it was asked for.
func TestProfileHoldsItsMean(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		mean := rapid.Float64Range(p.MinMean(), p.MaxMean()).Draw(t, "mean")
		s0 := p.bottom(mean)
		got, _ := p.meanAtBottom(s0)
		if math.Abs(got-mean) > 1e-6 {
			t.Fatalf("the profile holds %.9f, asked for %.9f (%.2g) of %+v in %+v", got, mean, got-mean, p.substrate, p.container)
		}
		// Independent of the integrator: thin layers, by the public look-up.
		const layers = 2000
		var water float64
		for i := range layers {
			z := (float64(i) + 0.5) / layers * p.height
			water += p.WaterContentAt(mean, z) * p.container.AreaCM2(z) * p.height / layers
		}
		if d := water/p.VolumeML() - mean; math.Abs(d) > 2e-3 {
			t.Fatalf("layers hold %.6f, asked for %.6f", water/p.VolumeML(), mean)
		}
	})
}

// TestProfileTable holds the table against the integral between its nodes.
func TestProfileTable(t *testing.T) {
	worst := 0.0
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		for i := 0; i+1 < len(p.mean.x); i++ {
			for _, f := range [...]float64{0.3, 0.7} {
				s0 := p.mean.x[i] + f*(p.mean.x[i+1]-p.mean.x[i])
				want, _ := p.meanAtBottom(s0)
				d := math.Abs(p.at(s0) - want)
				worst = math.Max(worst, d)
				if d > 1e-6 {
					t.Fatalf("between nodes %d: off by %.2g at %.6g cm of %+v in %+v", i, d, s0, p.substrate, p.container)
				}
			}
		}
	})
	t.Logf("worst difference %.2g m3/m3", worst)
}

func TestMeanSuctionInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		mean := rapid.Float64Range(p.MinMean(), p.MaxMean()).Draw(t, "mean")
		s := p.MeanSuctionKPa(mean)
		if d := p.MeanAtSuction(s) - mean; math.Abs(d) > 1e-6 {
			t.Fatalf("mean %.9f at %.6g kPa comes back %.2g off", mean, s, d)
		}
		if d := s - p.BottomSuctionKPa(mean) - p.container.MeanHeightCM()/CMPerKPa; math.Abs(d) > 1e-9*(1+math.Abs(s)) {
			t.Fatalf("mean suction is %g kPa off that at the mean height", d)
		}
	})
}

// TestProfileFallsWithHeight: no layer is wetter than the one below it, and a
// wetter container is nowhere drier.
func TestProfileFallsWithHeight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyProfile(t)
		a := rapid.Float64Range(p.MinMean(), p.MaxMean()).Draw(t, "a")
		b := rapid.Float64Range(p.MinMean(), p.MaxMean()).Draw(t, "b")
		a, b = math.Min(a, b), math.Max(a, b)
		above := math.Inf(1)
		for i := range 21 {
			z := float64(i) / 20 * p.height
			dry, wet := p.WaterContentAt(a, z), p.WaterContentAt(b, z)
			if dry > above || dry > wet {
				t.Fatalf("at %.3g cm: %g below is %g, wetter container %g", z, dry, above, wet)
			}
			above = dry
		}
	})
}

// TestShortPotIsWetter: of two containers of one width, straight sides and one
// substrate, the shorter holds more water at capacity.
func TestShortPotIsWetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySubstrate(t)
		c := Container{HeightCM: rapid.Float64Range(2, 30).Draw(t, "height"), TopDiameterCM: 15, BottomDiameterCM: 15}
		tall := c
		tall.HeightCM *= rapid.Float64Range(1.1, 2).Draw(t, "times")
		a, errA := NewProfile(s, c)
		b, errB := NewProfile(s, tall)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		if a.ContainerCapacity() < b.ContainerCapacity()-1e-12 {
			t.Fatalf("%g cm holds %g, %g cm holds %g", c.HeightCM, a.ContainerCapacity(), tall.HeightCM, b.ContainerCapacity())
		}
	})
}

// TestWideBottomIsWetter: at one volume and height, the container with the wider
// bottom holds more.
func TestWideBottomIsWetter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySubstrate(t)
		c := Container{HeightCM: rapid.Float64Range(3, 40).Draw(t, "height"), TopDiameterCM: 24, BottomDiameterCM: rapid.Float64Range(8, 23).Draw(t, "bottom")}
		turned := c
		turned.TopDiameterCM, turned.BottomDiameterCM = c.BottomDiameterCM, c.TopDiameterCM
		a, errA := NewProfile(s, c)
		b, errB := NewProfile(s, turned)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		if a.ContainerCapacity() > b.ContainerCapacity()+1e-12 {
			t.Fatalf("narrow bottom %g, wide bottom %g", a.ContainerCapacity(), b.ContainerCapacity())
		}
	})
}

func TestProfileClampsMeans(t *testing.T) {
	p := coirPot(t)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"wetter than full", p.WaterContentAt(2, 5), 0.9},
		{"bottom of the wettest", p.BottomSuctionKPa(p.MaxMean()), -20 / CMPerKPa},
		{"bottom of the driest", p.BottomSuctionKPa(-1), driestSuctionKPa},
		{"bottom at capacity", p.BottomSuctionKPa(p.ContainerCapacity()), 0},
		{"below the bottom", p.WaterContentAt(0.5, -3), p.WaterContentAt(0.5, 0)},
		{"above the surface", p.WaterContentAt(0.5, 30), p.WaterContentAt(0.5, 20)},
		{"no suction at all", p.MeanAtSuction(-100), p.MaxMean()},
		{"oven", p.MeanAtSuction(1e9), p.MinMean()},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s: %g, want %g", c.name, c.got, c.want)
		}
	}
}

// TestNotANumberPanics: a NaN is a broken invariant, never a silent number.
func TestNotANumberPanics(t *testing.T) {
	p := coirPot(t)
	probe, err := p.Probe(7, 0)
	if err != nil {
		t.Fatal(err)
	}
	nan := math.NaN()
	for name, f := range map[string]func(){
		"mean":        func() { p.WaterContentAt(nan, 5) },
		"suction":     func() { p.MeanAtSuction(nan) },
		"reading":     func() { probe.Mean(nan) },
		"temperature": func() { p.AerationMargin(0.5, nan, DefaultAeration) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: NaN went through", name)
				}
			}()
			f()
		}()
	}
}

// coirMix and pot7L are the example pair of the site file.
var (
	coirMix = Substrate{Name: "coir-mix", TotalPorosity: 0.92, Retention: Retention{ThetaR: 0.08, ThetaS: 0.90, AlphaPerKPa: 1.6, N: 1.75}, Provenance: FromSite}
	pot7L   = Container{Name: "pot-7l", HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18, Wall: Solid}
)

func coirPot(tb testing.TB) *Profile {
	tb.Helper()
	p, err := NewProfile(coirMix, pot7L)
	if err != nil {
		tb.Fatal(err)
	}
	return p
}

func TestProfileRefusesAllAtOnce(t *testing.T) {
	_, err := NewProfile(Substrate{TotalPorosity: 0.8, Retention: Retention{0.1, 0.9, 1, 0.5}}, Container{HeightCM: 20, LengthCM: 3})
	var fields []string
	for _, f := range FieldErrors(err) {
		fields = append(fields, f.Field)
	}
	want := []string{"substrate.retention.n", "substrate.retention.theta_s", "container.width_cm", "container.bottom_width_cm"}
	if len(fields) != len(want) {
		t.Fatalf("faults %v, want %v", fields, want)
	}
	for i := range want {
		if fields[i] != want[i] {
			t.Errorf("fault %d is of %s, want %s", i, fields[i], want[i])
		}
	}
}

// Water that stands to a height leaves a probe below it at its ceiling, and one above it
// not; in a container that drained freely none stands.
func TestWaterTable(t *testing.T) {
	p, err := NewProfile(Substrate{Name: "coir-mix", TotalPorosity: 0.92, Retention: Retention{ThetaR: 0.08, ThetaS: 0.90, AlphaPerKPa: 1.6, N: 1.75}},
		Container{HeightCM: 20, TopDiameterCM: 24, BottomDiameterCM: 18})
	if err != nil {
		t.Fatal(err)
	}
	if h := p.WaterTable(p.ContainerCapacity()); h > 1e-6 {
		t.Errorf("water stands %.3f cm high at container capacity; expected none", h)
	}
	if h := p.WaterTable(p.MaxMean()); math.Abs(h-20) > 1e-6 {
		t.Errorf("water stands %.3f cm high in a full container; expected 20", h)
	}
	for _, height := range []float64{2, 7, 15} {
		probe, err := p.Probe(height, 0)
		if err != nil {
			t.Fatal(err)
		}
		_, wettest := probe.Range()
		if h := p.WaterTable(wettest); math.Abs(h-height) > 0.01 {
			t.Errorf("water stands %.3f cm high where a probe at %.0f cm is just under it", h, height)
		}
	}
}
