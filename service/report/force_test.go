package report

import (
	"testing"
	"time"

	"rhizostat/policy"
)

// A plan that nobody approved is not held against what came: the forecast of the
// usual water is, as the engine does it. One that was followed for most of its day
// is told.
func TestForecastOfTheWaterThatWasGiven(t *testing.T) {
	s := bench("bench-07")
	issued := time.Date(2026, 5, 3, 18, 0, 0, 0, time.UTC)
	morning := issued.Add(12 * time.Hour)
	ended := "that of 3 May 18:00"
	tests := []struct {
		name  string
		marks []Mark
		usual bool
	}{
		{"nothing was said", nil, true},
		{"it waited until it expired", []Mark{{issued, Issued, ""}, {morning.Add(time.Hour), Expired, ended}}, true},
		{"rejected", []Mark{{issued, Issued, ""}, {issued.Add(time.Hour), Rejected, ended}}, true},
		{"approved", []Mark{{issued, Issued, ""}, {issued.Add(time.Hour), Approved, "by you"}, {morning.Add(24 * time.Hour), Expired, ended}}, false},
		{"approved, its end not on record", []Mark{{issued, Issued, ""}, {issued.Add(time.Hour), Approved, "by you"}}, false},
		{"withdrawn in the morning", []Mark{{issued, Issued, ""}, {issued.Add(time.Hour), Approved, ""}, {morning.Add(time.Hour), Withdrawn, ended + " by you"}}, true},
		{"the next one expires unapproved", []Mark{{issued, Issued, ""}, {issued.Add(time.Hour), Approved, ""}, {morning.Add(time.Hour), Issued, ""},
			{morning.Add(2 * time.Hour), Superseded, "that of 4 May 07:00"}}, false},
		{"under a standing approval", []Mark{{issued, Approved, ""}, {morning.Add(24 * time.Hour), Expired, ended}}, false},
		{"one after the other", []Mark{{issued, Issued, ""}, {issued.Add(time.Hour), Approved, ""}, {morning.Add(8 * time.Hour), Issued, ""}, {morning.Add(8 * time.Hour), Approved, ""},
			{morning.Add(8 * time.Hour), Superseded, ended}, {morning.Add(24 * time.Hour), Expired, "that of 4 May 14:00"}}, false},
	}
	for _, tt := range tests {
		c := NewCollector(s)
		c.Forecast(&policy.Forecast{IssuedAt: morning, Plan: policy.Course{WaterContent: []float64{0.5, 0.6}}, AsUsual: policy.Course{WaterContent: []float64{0.5, 0.4}}}, 5*time.Minute)
		for _, at := range []time.Duration{0, 5 * time.Minute} {
			c.Sample(Sample{At: morning.Add(at), WaterContent: 0.5 - at.Minutes()*0.02})
		}
		for _, m := range tt.marks {
			c.Mark(m)
		}
		f := c.Days(time.Time{}, time.Time{}).Forecasts[0]
		want := 0.6
		if tt.usual {
			want = 0.4
		}
		if f.Usual != tt.usual || f.WaterContent[1] != want {
			t.Errorf("%s: as usual %v, %v; want %v", tt.name, f.Usual, f.WaterContent, tt.usual)
		}
	}
}
