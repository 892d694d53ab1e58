package climate

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"rhizostat/policy/internal/references"
)

// Sunrise and sunset against a general astronomy library.
func TestSunAgainstLibrary(t *testing.T) {
	for _, r := range references.Read(t, "climate-sun.csv") {
		lat, lon := r.Number("lat_deg"), r.Number("lon_deg_east")
		want, err := time.Parse(time.RFC3339, r.Expected)
		if err != nil {
			t.Fatal(err)
		}
		zone := time.FixedZone("solar", int(lon/15*3600))
		date, err := time.ParseInLocation("2006-01-02", r.Text("date"), zone)
		if err != nil {
			t.Fatal(err)
		}
		find := Sunrise
		if r.Quantity == "sunset" {
			find = Sunset
		}
		at, ok := find(date, lat, lon)
		if !ok {
			t.Fatalf("%s: no %s at %v", r.ID, r.Quantity, r.Inputs)
		}
		r.Expected, r.Unit, r.Tolerance = "0", "s", "60"
		page.Hold(t, r, r.Quantity, "astronomy library, 15 days from 1950 to 2050", at.Sub(want).Seconds())
	}
}

func TestPolarDays(t *testing.T) {
	for _, c := range []struct {
		date     string
		latitude float64
		want     Sun
	}{
		{"2026-06-21", 78, PolarDay}, {"2026-12-21", 78, PolarNight},
		{"2026-06-21", -78, PolarNight}, {"2026-12-21", -78, PolarDay},
		{"2026-06-21", 90, PolarDay}, {"2026-03-21", 65, Rises},
		{"2026-06-21", 65.9, PolarDay}, // below the circle: refraction and the disc lift the sun
	} {
		day, err := time.Parse("2006-01-02", c.date)
		if err != nil {
			t.Fatal(err)
		}
		_, _, sun := SunCourse(day, c.latitude, 15)
		if sun != c.want {
			t.Errorf("%s at %v degrees: %v, expected %v", c.date, c.latitude, sun, c.want)
		}
		if _, ok := Sunrise(day, c.latitude, 15); ok != (c.want == Rises) {
			t.Errorf("%s at %v degrees: sunrise found: %v", c.date, c.latitude, ok)
		}
	}
}

// A clock far off the sun still gets the events of its own civil day.
func TestSunInShiftedZones(t *testing.T) {
	for _, hours := range []int{-12, -7, -3, 0, 3, 8, 14} {
		zone := time.FixedZone("clock", hours*3600)
		noon := time.Date(2026, 5, 4, 12, 0, 0, 0, zone)
		rise, set, sun := SunCourse(noon, 37.2, float64(max(min(hours, 12), -12))*15)
		if sun != Rises || !rise.Before(noon) || !set.After(noon) || noon.Sub(rise) > 10*time.Hour || set.Sub(noon) > 10*time.Hour {
			t.Errorf("zone %+d: rises %v, sets %v around noon %v", hours, rise.In(zone), set.In(zone), noon)
		}
	}
}

func TestSunHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		latitude := rapid.Float64Range(-90, 90).Draw(t, "latitude")
		longitude := rapid.Float64Range(-180, 180).Draw(t, "longitude")
		day := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "time"), 0).UTC()
		rise, set, sun := SunCourse(day, latitude, longitude)
		if sun != Rises {
			return
		}
		if !rise.Before(set) || set.Sub(rise) > 24*time.Hour {
			t.Fatalf("rises %v, sets %v", rise, set)
		}
		for _, at := range []time.Time{rise, set} {
			// near the poles the sun grazes the horizon and a second of angle is
			// many minutes, yet the altitude holds
			if e := SunElevation(at, latitude, longitude); math.Abs(e-apparentHorizon) > 0.02 {
				t.Fatalf("the sun stands at %v degrees at %v", e, at)
			}
		}
		middle := rise.Add(set.Sub(rise) / 2)
		if SunElevation(middle, latitude, longitude) < apparentHorizon {
			t.Fatalf("the sun is down at %v, between its rise and set", middle)
		}
	})
}
