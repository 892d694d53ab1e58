package climate

import (
	"math"
	"testing"

	"rhizostat/policy/internal/references"
)

func TestLightAgainstReferences(t *testing.T) {
	lampNames := map[string]string{"sun and sky": "sun", "blue sky only": "blue sky", "high pressure sodium, mogul base": "high pressure sodium"}
	lamp := func(t *testing.T, r references.Row) Lamp {
		name := r.Text("lamp")
		if n, ok := lampNames[name]; ok {
			name = n
		}
		l, ok := LampByName(name)
		if !ok {
			t.Fatalf("%s: lamp %q is not in the table", r.ID, name)
		}
		return l
	}
	sun, _ := LampByName("sun")
	page.Each(t, "light.csv", "04-light.csv", func(t *testing.T, r references.Row) {
		value := math.NaN()
		switch r.Quantity {
		case "photons per joule at one wavelength":
			value = PhotonsPerJoule(r.Number("nm"))
		case "energy of a mole of photons":
			value = 1000 / PhotonsPerJoule(r.Number("nm"))
		case "PPFD per PAR irradiance, sunlight":
			value, _ = sun.PPFD(1)
		case "PPFD per shortwave irradiance, sunlight":
			value = PPFDFromGlobal(1)
		case "shortwave irradiance per PPFD, sunlight":
			value = GlobalFromPPFD(1)
		case "product of the two factors above":
			return // two rounded factors of the source; ours are each other's inverse
		case "lux per PPFD, sunlight":
			value = sun.LuxPerPPFD
		case "lux per PPFD":
			value = lamp(t, r).LuxPerPPFD
		case "lux at 200 umol/m2/s of sunlight", "lux of full sun":
			value = r.Number("ppfd") * sun.LuxPerPPFD
		case "PPFD per PAR irradiance":
			value, _ = lamp(t, r).PPFD(1)
		case "PAR share of global radiation":
			value = PhotonsPerGlobalJoule / PhotonsPerPARJoule
		case "daily light integral":
			value = DailyLightIntegral(r.Number("ppfd"), r.Number("hours"))
		case "DLI from global radiation":
			value = LightIntegralFromGlobal(r.Number("mj_m2_d"))
		}
		page.Hold(t, r, r.Quantity, r.Provenance, value)
	})
}

func TestLampsThatAreNotKnown(t *testing.T) {
	if _, ok := LampByName("candle"); ok {
		t.Error("a candle is in the table of lamps")
	}
	l, ok := LampByName("ceramic metal halide 3100 K")
	if !ok {
		t.Fatal("the lamp is not in the table")
	}
	if _, ok := l.PARWatts(100); ok {
		t.Error("a lamp whose photons per joule are not known gave watts")
	}
	if ppfd, ok := l.PPFDFromLux(5900); !ok || math.Abs(ppfd-100) > 1e-9 {
		t.Errorf("5900 lx of it are %v umol/m2/s, %v; expected 100", ppfd, ok)
	}
	for i := 1; i < len(Lamps); i++ {
		if Lamps[i-1].Name >= Lamps[i].Name {
			t.Errorf("the table is searched by name, but %q stands before %q", Lamps[i-1].Name, Lamps[i].Name)
		}
	}
}
