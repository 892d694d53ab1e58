package diagnose

import (
	"math"
	"strings"
	"testing"

	"rhizostat/policy/hydraulics"
)

func peat() hydraulics.Substrate {
	// Int. J. Agronomy 2012, 978528, table 1, as anchored in the retention reference
	return hydraulics.Substrate{Name: "peat", TotalPorosity: 0.985, Provenance: hydraulics.FromSite,
		Retention: hydraulics.Retention{ThetaR: 0.15, ThetaS: 0.97, AlphaPerKPa: 1.652, N: 1.6}}
}

func pot(height, top, bottom float64) hydraulics.Container {
	return hydraulics.Container{Name: "pot", HeightCM: height, TopDiameterCM: top, BottomDiameterCM: bottom, Wall: hydraulics.Solid}
}

// The textbook orderings: of one mix the taller pot is drier and airier at
// capacity, the wider one of the same height equally wet and good for longer, the
// coarser mix airier (perched water; Bunt 1988, Media and Mixes, from memory).
func TestCompareOrdersAsContainersDo(t *testing.T) {
	coarse := peat()
	coarse.Name, coarse.Retention.AlphaPerKPa = "coarse", 5
	wall := pot(20, 20, 20)
	wall.Wall = hydraulics.AirPruning
	use := Use{Aeration: hydraulics.DefaultAeration, UptakeML: 700, DryShare: 0.3}
	got, err := Compare([]Choice{
		{"short", peat(), pot(12, 20, 20)}, {"tall", peat(), pot(24, 20, 20)}, {"wide", peat(), pot(12, 30, 30)},
		{"middle", peat(), pot(20, 20, 20)}, {"coarse", coarse, pot(20, 20, 20)}, {"air-pruning", peat(), wall},
	}, use)
	if err != nil {
		t.Fatal(err)
	}
	short, tall, wide, middle, coarser, pruning := got[0], got[1], got[2], got[3], got[4], got[5]
	if !(tall.Capacity < short.Capacity && tall.AirAtCapacity > short.AirAtCapacity && tall.SaturatedShare < short.SaturatedShare) {
		t.Errorf("tall %+v, short %+v", tall, short)
	}
	if math.Abs(wide.Capacity-short.Capacity) > 1e-9 || !(wide.BandML > 2*short.BandML && wide.Refills < short.Refills/2 && wide.Dryback < short.Dryback) {
		t.Errorf("wide %+v, short %+v", wide, short)
	}
	if !(coarser.AirAtCapacity > middle.AirAtCapacity && coarser.Capacity < middle.Capacity) {
		t.Errorf("coarse %+v, middle %+v", coarser, middle)
	}
	for _, c := range got {
		if !(c.Margin28 < c.Margin20) {
			t.Errorf("%s: warmth costs no margin: %g at 28, %g at 20", c.Name, c.Margin28, c.Margin20)
		}
		if want := 0.3 * 700 / c.VolumeML; math.Abs(c.Dryback-want) > 1e-12 {
			t.Errorf("%s: dryback %g; the volume makes %g of it", c.Name, c.Dryback, want)
		}
	}
	pruning.Name, middle.Name = "", ""
	if pruning != middle {
		t.Errorf("a wall changed the physics: %+v, %+v", pruning, middle)
	}
}

func TestCompareTellsWhatCannotBe(t *testing.T) {
	full, refill := 0.95, 0.9
	got, err := Compare([]Choice{{"tall", peat(), pot(24, 20, 20)}}, Use{Band: hydraulics.BandSpec{FullPoint: &full, RefillPoint: &refill}, Aeration: hydraulics.DefaultAeration, UptakeML: 700})
	if err != nil || !strings.Contains(got[0].Refusal, "container capacity") {
		t.Errorf("a full point above capacity: %v, %+v", err, got)
	}
	if _, err := Compare([]Choice{{"none", peat(), pot(0, 20, 20)}}, Use{Aeration: hydraulics.DefaultAeration, UptakeML: 700}); err == nil || !strings.Contains(err.Error(), "none") {
		t.Errorf("a pot of no height: %v", err)
	}
	if _, err := Compare(nil, Use{}); err == nil {
		t.Error("no uptake went through")
	}
}

// The longer the night, the more of a day is drunk in it; a crop that is watered around
// the clock has none. By hand: 12 h at 0.4 over 12 h and those, and so on.
func TestNightShare(t *testing.T) {
	for _, c := range []struct{ daytimeH, want float64 }{{24, 0}, {18, 2.4 / 20.4}, {12, 4.8 / 16.8}, {8, 6.4 / 14.4}, {0, 1}} {
		if got := NightShare(c.daytimeH); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("of a day of %g h: %g, want %g", c.daytimeH, got, c.want)
		}
	}
}
