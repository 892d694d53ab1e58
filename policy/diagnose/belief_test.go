package diagnose

import "testing"

// Days that speak for heat, and less for weather, tell the two apart however many they are:
// the cap on what does not move water does not make them equal.
func TestTheCapKeepsWhatTellsCausesApart(t *testing.T) {
	b := &Belief{}
	for range 10 {
		b.addAll(&[causeCount]float64{RootZoneHeat: 4.5, WeatherOrGrowth: 2})
	}
	if heat, weather := b.LogOdds[RootZoneHeat], b.LogOdds[WeatherOrGrowth]; heat > mostBeside || heat < weather+4 {
		t.Errorf("log odds of heat %.1f, of weather %.1f; expected heat far ahead and at most %.1f", heat, weather, mostBeside)
	}
}
