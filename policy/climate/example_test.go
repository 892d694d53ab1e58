package climate_test

import (
	"fmt"
	"time"

	"rhizostat/policy/climate"
)

// FAO-56 Example 5 and 6: 18 to 25 Cel, 54 to 82 %.
func ExampleDayAir() {
	day := climate.DayAir{MaxCel: 25, MinCel: 18, HumidityMaxPercent: 82, HumidityMinPercent: 54}
	fmt.Printf("%.2f kPa, %.2f kPa short of saturation\n", day.VapourPressure(), day.SaturationVapourPressure()-day.VapourPressure())
	// Output: 1.70 kPa, 0.91 kPa short of saturation
}

// FAO-56 Example 18: a day in July at Uccle.
func ExampleDay_Reference() {
	place := climate.Place{LatitudeDeg: 50.8, DayOfYear: 187, ElevationM: 100}
	air := climate.DayAir{MaxCel: 21.5, MinCel: 12.3, HumidityMaxPercent: 84, HumidityMinPercent: 63}
	day := climate.Day{
		Place: place, Air: air, VapourPressureKPa: air.VapourPressure(),
		Solar:  place.FromSunshine(9.25, climate.DefaultAngstrom),
		Wind2M: climate.WindAt2M(10/3.6, 10),
	}
	fmt.Printf("%.1f mm\n", day.Reference(climate.GrassDay))
	// Output: 3.9 mm
}

func ExampleSunrise() {
	day := time.Date(2026, 6, 21, 0, 0, 0, 0, time.FixedZone("CEST", 2*3600))
	rise, ok := climate.Sunrise(day, 37.2, -1.9)
	fmt.Println(rise.Truncate(time.Minute).Format("15:04 MST"), ok)
	// Output: 04:47 UTC true
}
