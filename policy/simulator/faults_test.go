package simulator

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Whatever the pot, the weather and the faults: nothing is lost, nothing leaves
// what is physical, nothing panics.
func TestAnyFacilityStaysPhysical(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num := func(name string, a, b float64) float64 { return rapid.Float64Range(a, b).Draw(t, name) }
		mix := mixes[rapid.IntRange(0, len(mixes)-1).Draw(t, "mix")]
		mix.AlphaPerCM *= num("alpha", 0.3, 2)
		mix.N = num("n", 1.3, 3)
		mix.KsCMPerH *= num("ks", 0.05, 5)
		mix.Tortuosity = num("tortuosity", 3, 8)
		mix.WettingRatio = num("wetting", 0.4, 1)
		z := benches()[0]
		z.Substrate, z.Container, z.Containers = mix, shapes[rapid.IntRange(0, len(shapes)-1).Draw(t, "shape")], 3
		z.StartSuctionCM = num("start", 0, 300)
		z.EmitterMLPerS = num("emitter", 0.1, 3)
		for i := range z.Probes {
			z.Probes[i].HeightCM = z.Container.HeightCM * 0.3
		}
		f, err := NewFacility(rapid.Uint64().Draw(t, "seed"), southern, ClimateProbe{}, []ZoneSpec{z}, spring)
		if err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(0, 3).Draw(t, "faults") {
			f.Inject(Fault{Kind: FaultKind(rapid.IntRange(1, int(FastGrowth)).Draw(t, "kind")), From: spring.Add(time.Duration(num("from", 0, 40)) * time.Hour),
				Onset: time.Duration(num("onset", 0, 30)) * time.Hour, Severity: num("severity", 0.1, 1), Container: rapid.IntRange(-1, 2).Draw(t, "container"),
				Probe: rapid.IntRange(-1, 1).Draw(t, "probe"), VolumeML: num("by hand", 100, 4000)})
		}
		before := stores(f)
		timed(f, 3, num("shot", 20, 600), 8, func(int) {})
		balance(t, f, before)
		for _, p := range f.zones[0].pots {
			for l, theta := range p.theta {
				if theta < 0.2*p.c.ThetaR || theta > p.c.ThetaS+0.02 || p.salts[l] < 0 {
					t.Fatalf("layer %d holds %.4f of %.3f to %.3f and %g of salt", l, theta, p.c.ThetaR, p.c.ThetaS, p.salts[l])
				}
			}
		}
	})
}

// Each fault does to the truth what a grower would find.
func TestFaultsShow(t *testing.T) {
	play := func(x *Fault) (Truth, float64) {
		f := facility(t, 21, benches()[:1])
		if x != nil {
			x.From, x.Container, x.Probe = spring.Add(48*time.Hour), -1, -1
			f.Inject(*x)
		}
		timed(f, 8, 140, 8, func(int) {})
		return f.Truth(0), f.Capacity(0, 4*3600)
	}
	base, capacity := play(nil)
	cases := []struct {
		name  string
		fault Fault
		shows func(now Truth, c float64) bool
	}{
		{"a blocked emitter gives less", Fault{Kind: EmitterBlocked, Severity: 0.7}, func(n Truth, _ float64) bool {
			return n.Given < base.Given*0.6 && n.WaterContent < base.WaterContent-0.05
		}},
		{"a leaking valve drains", Fault{Kind: ValveStuckOpen, Severity: 0.2}, func(n Truth, _ float64) bool { return n.Drained > base.Drained+5000 }},
		{"a shut valve gives nothing", Fault{Kind: ValveStuckClosed, Severity: 1}, func(n Truth, _ float64) bool { return n.Given < base.Given*0.3 }},
		{"compaction takes the air", Fault{Kind: Compaction, Severity: 0.8, Onset: 72 * time.Hour}, func(n Truth, c float64) bool { return n.AirFilledPorosity < base.AirFilledPorosity-0.05 }},
		{"a full pot of roots holds less", Fault{Kind: RootBound, Severity: 0.8, Onset: 72 * time.Hour}, func(n Truth, c float64) bool { return c < capacity-0.05 && n.Drained > base.Drained }},
		{"a clogged hole floods", Fault{Kind: Oversaturation, Severity: 0.8}, func(n Truth, _ float64) bool { return n.WaterContent > base.WaterContent+0.08 && n.WetRoots > 0.2 }},
		{"a gap lets shots past", Fault{Kind: EdgeChannelling, Severity: 0.5}, func(n Truth, _ float64) bool {
			return n.Drained > base.Drained+500 && n.WaterContent < base.WaterContent-0.05
		}},
		{"a pot in the sun is hot", Fault{Kind: RootZoneHeat, Severity: 1}, func(n Truth, _ float64) bool { return n.SubstrateCel > base.SubstrateCel+3 }},
		{"strong feed builds salt", Fault{Kind: SaltBuildUp, Severity: 0.8}, func(n Truth, _ float64) bool { return n.PoreEC > base.PoreEC+0.5 }},
		{"a can of water comes", Fault{Kind: UnreportedWatering, Severity: 1, VolumeML: 1000}, func(n Truth, _ float64) bool { return n.Given > base.Given+990 }},
		{"a hot spell makes thirst", Fault{Kind: HotSpell, Severity: 1}, func(n Truth, _ float64) bool { return n.Demand > base.Demand*1.15 }},
		{"pruned shoots drink less", Fault{Kind: ShootsPruned, Severity: 0.6}, func(n Truth, _ float64) bool { return n.Demand < base.Demand*0.8 }},
		{"fast growth drinks more", Fault{Kind: FastGrowth, Severity: 1}, func(n Truth, _ float64) bool { return n.LeafArea > base.LeafArea*1.2 }},
	}
	for _, c := range cases {
		now, hold := play(&c.fault)
		if !c.shows(now, hold) {
			t.Errorf("%s: %+v, capacity %.3f; without the fault %+v, %.3f", c.name, now, hold, base, capacity)
		}
	}
}

// A sick probe says what a sick probe says.
func TestSickProbes(t *testing.T) {
	play := func(x Fault) (values []float64, early int) {
		f := facility(t, 9, benches()[:1])
		x.From, x.Container, x.Probe = spring.Add(24*time.Hour), -1, 0
		f.Inject(x)
		f.Advance(spring.Add(48 * time.Hour))
		for _, m := range f.Measurements() {
			if m.Source == "p1" && m.Arrives.After(x.From) {
				values = append(values, m.Signals[0].Value)
				if m.Arrives.Sub(m.At) < -time.Minute {
					early++
				}
			}
		}
		return values, early
	}
	if v, _ := play(Fault{Kind: SensorStuck, Severity: 1}); len(v) == 0 || v[5] != v[len(v)-1] {
		t.Error("a stuck probe still moves")
	}
	if v, _ := play(Fault{Kind: SensorDropout, Severity: 1}); len(v) != 0 {
		t.Errorf("a silent probe spoke %d times", len(v))
	}
	if v, n := play(Fault{Kind: SensorClockWrong, Severity: 1}); n != len(v) {
		t.Errorf("%d of %d stamps are ahead", n, len(v))
	}
	healthy, _ := play(Fault{Kind: RootZoneHeat, Severity: 0.01})
	if v, _ := play(Fault{Kind: SensorOffset, Severity: 0.5}); v[50]-healthy[50] < 0.08 {
		t.Errorf("a moved probe reads %.3f where it read %.3f", v[50], healthy[50])
	}
}

// A scale and running totals tell the same water as probes and volumes.
func TestScaleAndTotals(t *testing.T) {
	zones := benches()[:1]
	zones[0].Totals = true
	zones[0].Probes = []Probe{{ID: "scale", Container: 1, Every: 5 * time.Minute, WeighsFromKG: 1.5}}
	f := facility(t, 4, zones)
	f.Open(0, 300)
	f.Advance(spring.Add(3 * time.Hour))
	f.Open(0, 200)
	f.Advance(spring.Add(6 * time.Hour))
	volume := f.zones[0].pots[1].g.total
	var kg, irrigated, drained float64
	for _, m := range f.Measurements() {
		for _, s := range m.Signals {
			switch s.Name {
			case ContainerWeight:
				kg = s.Value
			case IrrigationTotal:
				irrigated = s.Value
			case DrainTotal:
				drained = s.Value
			case IrrigationVolume, DrainVolume:
				t.Errorf("%s is told beside totals", s.Name)
			}
		}
	}
	if want := 1.5 + f.Content(0, 1)*volume/1000; kg < want-0.002 || kg > want+0.002 {
		t.Errorf("the scale says %.3f kg; expected %.3f", kg, want)
	}
	if irrigated != 500 {
		t.Errorf("%.0f mL were told; expected 500", irrigated)
	}
	if caught := f.Truth(0).Caught; drained < caught-2 || drained > caught {
		t.Errorf("%.0f mL of drain were told; expected %.0f", drained, caught)
	}
}
