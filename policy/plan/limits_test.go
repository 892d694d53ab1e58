package plan

import (
	"testing"

	"rhizostat/policy/hydraulics"
)

// What follows from a container lets a shot be given, a whole mL of it in the cell of a
// plug tray, and a day that holds one.
func TestLimitsFollowFromTheContainer(t *testing.T) {
	peat, ok := hydraulics.BuiltIn("peat")
	if !ok {
		t.Fatal("no built-in peat")
	}
	for name, c := range map[string]struct {
		pot  hydraulics.Container
		shot float64
	}{
		"cell of a plug tray": {hydraulics.Container{HeightCM: 2.5, LengthCM: 1.8, WidthCM: 1.8, Wall: hydraulics.Solid}, 1}, // 8 mL
		"small pot":           {hydraulics.Container{HeightCM: 8, LengthCM: 8, WidthCM: 8, Wall: hydraulics.Solid}, 26},      // 512 mL
	} {
		p, err := hydraulics.NewProfile(peat, c.pot)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		l := Limits{OfContainer: LimitsOfContainer{Shot: true, Daily: true}}.For(p)
		if l.MaxShotML != c.shot || l.MaxDailyML < l.MaxShotML {
			t.Errorf("%s of %.0f mL: shots of at most %v mL and %v mL a day; expected %v mL, and a day that holds one", name, p.VolumeML(), l.MaxShotML, l.MaxDailyML, c.shot)
		}
	}
}
