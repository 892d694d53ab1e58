package sensing

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func values(pairs ...float64) *Values {
	var v Values
	for i := 0; i < len(pairs); i += 2 {
		v.Set(Signal(pairs[i]), pairs[i+1])
	}
	return &v
}

func TestCalibrationMistakes(t *testing.T) {
	for _, c := range []struct {
		name string
		c    Calibration
		says []string // nil: nothing is wrong
	}{
		{"as sent", Calibration{}, nil},
		{"topp", Calibration{Kind: "topp", PoreEC: Hilhorst}, nil},
		{"unknown kind", Calibration{Kind: "top"}, []string{`"top"`, "schaap-forest-floor"}},
		{"malicki without density", Calibration{Kind: "malicki"}, []string{"bulk density 0"}},
		{"falling polynomial", Calibration{Kind: Polynomial, Polynomial: []float64{0.9, -0.01}}, []string{"falls"}},
		{"polynomial of a constant", Calibration{Kind: Polynomial, Polynomial: []float64{0.5}}, []string{"1 coefficients"}},
		{"polynomial in the wrong unit", Calibration{Kind: Polynomial, Polynomial: []float64{-5, 0.001}}, []string{"no water content"}},
		{"one point", Calibration{Kind: Points, Points: [][2]float64{{10, 0.3}}}, []string{"1 points"}},
		{"points that fall", Calibration{Kind: Points, Points: [][2]float64{{10, 0.3}, {20, 0.2}}}, []string{"point 2"}},
		{"weight without volume", Calibration{Kind: Weight, TareKG: 1}, []string{"volume 0"}},
		{"two mistakes at once", Calibration{Kind: "x", PoreEC: "y"}, []string{`kind "x"`, `model "y"`}},
		{"rhoades without constants", Calibration{PoreEC: Rhoades}, []string{"rhoades needs"}},
	} {
		err := c.c.Validate()
		if (err == nil) != (c.says == nil) {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for _, part := range c.says {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%s: %q does not say %q", c.name, err, part)
			}
		}
	}
}

func TestWaterContentOfReadings(t *testing.T) {
	const wc, e, kg = float64(WaterContent), float64(Permittivity), float64(ContainerWeight)
	points := [][2]float64{{5, 0.1}, {40, 0.6}}
	for _, c := range []struct {
		name string
		c    Calibration
		v    *Values
		want float64
		ok   bool
		why  string
	}{
		{"as sent", Calibration{}, values(wc, 0.42), 0.42, true, ""},
		{"nothing sent", Calibration{}, values(e, 20), 0, false, NoWaterContent},
		{"no permittivity", Calibration{Kind: "topp"}, values(wc, 0.42), 0, false, NoPermittivity},
		{"topp in air is dry", Calibration{Kind: "topp"}, values(e, 1), 0, true, Clamped},
		{"topp past water", Calibration{Kind: "topp"}, values(e, 95), 0, false, AboveRange},
		{"between points", Calibration{Kind: Points, Points: points}, values(e, 22.5), 0.35, true, ""},
		{"beyond points", Calibration{Kind: Points, Points: points}, values(e, 47), 0.7, true, ""},
		{"correcting what is sent", Calibration{Kind: Points, Input: "water_content", Points: [][2]float64{{0.2, 0.3}, {0.6, 0.8}}}, values(wc, 0.4, e, 9), 0.55, true, ""},
		{"weight", Calibration{Kind: Weight, TareKG: 1.5, CropKG: 0.5, VolumeML: 7000}, values(kg, 5.5), 0.5, true, ""},
		{"container taken off the scale", Calibration{Kind: Weight, TareKG: 1.5, VolumeML: 7000}, values(kg, 0), 0, false, BelowRange},
		{"no weight", Calibration{Kind: Weight, VolumeML: 7000}, values(wc, 0.4), 0, false, NoContainerWeight},
	} {
		got, ok, why := c.c.WaterContent(c.v)
		if math.Abs(got-c.want) > 1e-12 || ok != c.ok || why != c.why {
			t.Errorf("%s: %v, %v, %q; expected %v, %v, %q", c.name, got, ok, why, c.want, c.ok, c.why)
		}
	}
}

func TestPoreECIsKnownOrNot(t *testing.T) {
	const bulk, e, temp, pore = float64(BulkEC), float64(Permittivity), float64(SubstrateTemperature), float64(PoreEC)
	h := Calibration{PoreEC: Hilhorst}
	for _, c := range []struct {
		name  string
		c     Calibration
		v     *Values
		wc    float64
		known bool
	}{
		{"sent by the probe", Calibration{}, values(pore, 2.5), 0.1, true},
		{"no model", Calibration{}, values(bulk, 1, e, 30), 0.5, false},
		{"wet enough", h, values(bulk, 1, e, 30, temp, 22), 0.5, true},
		{"no temperature", h, values(bulk, 1, e, 30), 0.5, true},
		{"too dry", h, values(bulk, 0.2, e, 12, temp, 22), 0.2, false},
		{"next to the offset", h, values(bulk, 0.2, e, 6, temp, 22), 0.5, false},
		{"no permittivity", h, values(bulk, 1, temp, 22), 0.5, false},
		{"at the probe's temperature, unknown", Calibration{PoreEC: Hilhorst, ECAtProbe: true}, values(bulk, 1, e, 30), 0.5, false},
		{"at the probe's temperature", Calibration{PoreEC: Hilhorst, ECAtProbe: true}, values(bulk, 1, e, 30, temp, 15), 0.5, true},
		{"rhoades", Calibration{PoreEC: Rhoades, RhoadesE: 1.2, RhoadesF: 0.1, SurfaceEC: 0.05}, values(bulk, 1), 0.5, true},
		{"rhoades below the solids", Calibration{PoreEC: Rhoades, RhoadesE: 1.2, RhoadesF: 0.1, SurfaceEC: 0.05}, values(bulk, 0.04), 0.5, false},
	} {
		ec, known := c.c.PoreECAt25(c.v, c.wc)
		if known != c.known || known && !(ec > 0 && ec < 50) {
			t.Errorf("%s: %v, %v; expected known %v", c.name, ec, known, c.known)
		}
	}
	at25, _ := (&Calibration{ECAtProbe: true}).BulkECAt25(values(bulk, 1, temp, 15))
	if math.Abs(at25-1.256) > 1e-9 {
		t.Errorf("1 mS/cm at 15 Cel is %v at 25, expected the table's 1.256", at25)
	}
}

// The index follows the salt and not the water: of one and the same pore EC it is the
// same within a sixth from dry to wet, and twice the salt doubles it. No model is asked for.
func TestSaltIndexFollowsTheSalt(t *testing.T) {
	const bulk, temp = float64(BulkEC), float64(SubstrateTemperature)
	// bulk EC of a medium of 0.92 porosity by refractive mixing and Hilhorst
	of := func(pore, theta float64) float64 {
		n := theta*math.Sqrt(80.3) + (0.92 - theta) + 0.08*2
		return pore * (n*n - DefaultHilhorstOffset) / 80.3
	}
	index := func(pore, theta float64) float64 {
		x, known := (&Calibration{}).SaltIndex(values(bulk, of(pore, theta)), theta)
		if !known {
			t.Fatalf("not known at pore EC %v and %v m3/m3", pore, theta)
		}
		return x
	}
	low, high := math.Inf(1), 0.0
	for theta := 0.2; theta < 0.81; theta += 0.05 {
		x := index(2, theta)
		low, high = math.Min(low, x), math.Max(high, x)
		if twice := index(4, theta); math.Abs(twice/x-2) > 1e-9 {
			t.Errorf("at %.2f m3/m3 twice the salt makes %v times the index", theta, twice/x)
		}
	}
	if high/low > 1.17 {
		t.Errorf("of the same salt from %v to %v; expected the same within a sixth", low, high)
	}
	for _, c := range []struct {
		name  string
		c     Calibration
		v     *Values
		wc    float64
		known bool
	}{
		{"no bulk EC", Calibration{}, values(temp, 22), 0.5, false},
		{"thin films", Calibration{}, values(bulk, 0.1), 0.19, false},
		{"no salt at all", Calibration{}, values(bulk, 0), 0.5, false},
		{"below the least of pore EC", Calibration{PoreEC: Hilhorst}, values(bulk, 0.1), 0.25, true},
		{"uncompensated, no temperature", Calibration{ECAtProbe: true}, values(bulk, 1), 0.5, false},
	} {
		if x, known := c.c.SaltIndex(c.v, c.wc); known != c.known {
			t.Errorf("%s: %v, %v; expected known %v", c.name, x, known, c.known)
		}
	}
}

// Every published form rises with permittivity and is a number, and the exact
// inverse is one.
func TestCalibrationsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom(CalibrationKinds[:10]).Draw(t, "kind")
		c := Calibration{Kind: kind, BulkDensity: rapid.Float64Range(0.05, 1.8).Draw(t, "density")}
		if err := c.Validate(); err != nil {
			t.Fatal(err)
		}
		x := rapid.Float64Range(1, 99).Draw(t, "permittivity")
		low, high := c.apply(x), c.apply(x+1)
		if math.IsNaN(low) || high < low {
			t.Fatalf("%s falls from %v to %v at %v", kind, low, high, x)
		}
		wc, ok, why := c.WaterContent(values(float64(Permittivity), x))
		if ok && !(wc >= 0 && wc <= 1) || !ok && why == "" {
			t.Fatalf("%s at %v: %v, %v, %q", kind, x, wc, ok, why)
		}
		theta := rapid.Float64Range(0, 1).Draw(t, "water content")
		if back := Topp(ToppPermittivity(theta)); math.Abs(back-theta) > 1e-10 {
			t.Fatalf("topp: %v back from %v", back, theta)
		}
		if back := Malicki(MalickiPermittivity(theta, c.BulkDensity), c.BulkDensity); math.Abs(back-theta) > 1e-12 {
			t.Fatalf("malicki: %v back from %v", back, theta)
		}
	})
}

func TestClamp(t *testing.T) {
	for _, c := range []struct {
		s    Signal
		v    float64
		want float64
		ok   bool
	}{
		{RelativeHumidity, 100.4, 100, true}, {RelativeHumidity, 140, 0, false}, {RelativeHumidity, -14.3, 0, false},
		{Radiation, -3, 0, true}, {Radiation, -60, 0, false}, {WaterContent, 1.01, 1, true}, {WaterContent, 1.3, 0, false},
		{ValveOpen, 2, 0, false}, {BulkEC, math.NaN(), 0, false}, {AirTemperature, math.Inf(1), 0, false}, {AirTemperature, 21.5, 21.5, true},
	} {
		if got, ok := c.s.Clamp(c.v); got != c.want || ok != c.ok {
			t.Errorf("%v of %v: %v, %v; expected %v, %v", c.s, c.v, got, ok, c.want, c.ok)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		s := Signal(rapid.IntRange(0, SignalCount-1).Draw(t, "signal"))
		v := rapid.Float64().Draw(t, "value")
		if got, ok := s.Clamp(v); ok && !s.Possible(got) {
			t.Fatalf("%v of %v clamps to %v, which is not possible", s, v, got)
		}
	})
}
