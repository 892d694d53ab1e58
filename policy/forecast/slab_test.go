package forecast

import (
	"math"
	"testing"

	slabdata "rhizostat/policy/internal/slab"
	"rhizostat/policy/learning"
)

// row is one step of the measured slab telemetry (Hemming et al. 2020,
// doi:10.4121/uuid:88d22c60-21b3-4ea8-90db-20249a5be2a7, CC0).
type row struct {
	at           int64
	water, given float64
}

func slab(t testing.TB, zone string) []row {
	t.Helper()
	table := slabdata.Read(t, zone)
	var rows []row
	for i, at := range table.Times {
		rows = append(rows, row{at: at.UnixMilli(), water: table.Water(i), given: table.Number(i, "irrigation_l_m2")})
	}
	return rows
}

// slabConstants: one plant's share of slab, from the README of the data
// (storage 10 L/m2; 714 mL a plant for 1 L/m2 in zone a, 556 in b and c).
func slabConstants(zone string) *learning.Constants {
	ml := 7140.0
	if zone != "a" {
		ml = 5560
	}
	return &learning.Constants{
		VolumeML: ml, DesignCapacity: 0.86, MinMean: 0.1, StressMean: 0.3, MaxMean: 0.97,
		DayStartS: 23 * 3600, DayEndS: 17 * 3600,
	}
}

// result sums what a replay of a zone's data scored.
type result struct {
	n                                     [HorizonCount]float64
	usual, last, before, given            [HorizonCount]float64
	usualIn, givenIn, usualSq, givenSq, y [HorizonCount]float64
	ySq, givenN, usualCRPS, givenCRPS     [HorizonCount]float64
}

// replay plays a zone's data through learning and forecasts and holds every
// forecast issued from the eighth day on in [from, to) against what came.
func replay(t testing.TB, name string, from, to float64, reports bool) *result {
	rows, c := slab(t, name), slabConstants(name)
	var z learning.Zone
	var rec Record
	var s Situation
	var p Published
	var m Scratch
	var res result
	levels := map[int64]float64{}
	var out [int(variantCount) * HorizonCount]Scored
	for i, r := range rows {
		if reports && r.given > 0 {
			z.Water(c, r.at-4*60_000, r.given*c.VolumeML/10, true)
		}
		if math.IsNaN(r.water) {
			z.Advance(c, r.at)
		} else {
			z.Observe(c, r.at, r.water, 0.001)
		}
		if r.at%IssueEvery != 0 || z.SeenMs == 0 {
			continue
		}
		if !math.IsNaN(r.water) {
			levels[r.at] = r.water
		}
		n := rec.Due(&z, c, r.at, &out)
		for _, o := range out[:n] {
			h := o.Horizon
			issued := r.at - Horizons[h]*3600_000
			then, ok1 := levels[issued]
			yesterday, ok2 := levels[r.at-24*3600_000]
			now, ok3 := levels[r.at]
			share := float64(i) / float64(len(rows))
			if !ok1 || !ok2 || !ok3 || issued-rows[0].at < 8*24*3600_000 || share < from || share >= to {
				continue
			}
			switch o.Variant {
			case AsUsual:
				res.n[h]++
				res.usual[h] += math.Abs(o.Error)
				res.usualCRPS[h] += o.CRPS
				res.usualSq[h] += o.Error * o.Error
				res.last[h] += math.Abs(now - then)
				res.before[h] += math.Abs(now - yesterday)
				res.y[h] += now
				res.ySq[h] += now * now
				if o.Covered {
					res.usualIn[h]++
				}
			case Given:
				res.givenN[h]++
				res.given[h] += math.Abs(o.Error)
				res.givenCRPS[h] += o.CRPS
				res.givenSq[h] += o.Error * o.Error
				if o.Covered {
					res.givenIn[h]++
				}
			}
		}
		if math.IsNaN(r.water) {
			continue
		}
		Build(&z, c, r.at, Steps24h, &s)
		rec.Publish(&z, c, &s, nil, &p, &m)
		rec.Issue(&z, &s, r.at, &p)
	}
	return &res
}

func (r *result) log(t *testing.T, name string) {
	for h, hours := range Horizons {
		n := r.n[h]
		variance := r.ySq[h]/n - (r.y[h]/n)*(r.y[h]/n)
		t.Logf("%s %2d h: as usual %.4f (of last value %.2f, of 24 h before %.2f) inside %.2f R2 %.3f CRPS %.5f | given water %.4f inside %.2f R2 %.3f CRPS %.5f n %.0f", name, hours,
			r.usual[h]/n, r.usual[h]/r.last[h], r.usual[h]/r.before[h], r.usualIn[h]/n, 1-r.usualSq[h]/n/variance, r.usualCRPS[h]/n,
			r.given[h]/r.givenN[h], r.givenIn[h]/r.givenN[h], 1-r.givenSq[h]/r.givenN[h]/variance, r.givenCRPS[h]/r.givenN[h], n)
	}
}

// TestForecastsOnSlabData reports the forecasts of zones a, b and c, and holds
// them to what was reached. Rates, priors and thresholds were tuned on the first
// halves of a and c; b, and the second halves, are the report.
//
// Targets: at 6 h a quarter of the error of the last value, reached over the
// three zones together (a 0.16, b 0.34, c 0.28). At 24 h three quarters of the
// error of 24 h before, not reached: it stays at 1.0. What limits it: from day
// to day the level at one time of day wanders like a random walk. Of its changes
// from one day to the next the autocorrelation is 0.1 to 0.25 in zone a and -0.3
// to 0.05 in b and c, where days that are exchangeable would have -0.5; even known
// beforehand it leaves sqrt(1-0.3^2) = 0.95 of the error. What moves the level is
// what growers and weather do tomorrow. Tried without gain: means of 2 to 7 days
// (1.02 to 1.9 of the error of 24 h before), exponential ones (0.98 to 1.2),
// reversion to them (1.01 to 1.03), momentum of the mean of the day (1.00 to
// 1.06), the shape of the last days on the day's mean (1.01 to 1.18), least
// absolute deviations on nine such numbers, and on five by each hour of the day,
// which fits 0.93 to 0.95 even where it was fitted.
func TestForecastsOnSlabData(t *testing.T) {
	whole := &result{}
	for _, name := range []string{"a", "b", "c"} {
		r := replay(t, name, 0, 1, name == "a")
		r.log(t, name)
		if name != "b" {
			replay(t, name, 0.5, 1, name == "a").log(t, name+", second half")
		}
		for h, hours := range Horizons {
			for what, in := range map[string]float64{"as usual": r.usualIn[h] / r.n[h], "given water": r.givenIn[h] / r.givenN[h]} {
				if in < 0.85 || in > 0.95 {
					t.Errorf("zone %s, %s at %d h: %.2f inside the 90 %% interval", name, what, hours, in)
				}
			}
			whole.usual[h] += r.usual[h]
			whole.last[h] += r.last[h]
			whole.before[h] += r.before[h]
		}
	}
	six, day := whole.usual[2]/whole.last[2], whole.usual[4]/whole.before[4]
	t.Logf("together: as usual at 6 h %.3f of last value, at 24 h %.3f of 24 h before", six, day)
	if six > 0.255 {
		t.Errorf("as usual at 6 h: %.3f of the error of the last value, 0.25 was reached", six)
	}
	if day > 1.015 {
		t.Errorf("as usual at 24 h: %.3f of the error of 24 h before, 1.007 was reached", day)
	}
}
