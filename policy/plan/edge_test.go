package plan

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
)

// Zones and days off the usual road: what the plan must be, and say.
func TestEdges(t *testing.T) {
	for _, c := range []struct {
		name   string
		r      *Request
		do     func(r *Request)
		action advice.Action
		codes  []string
		ok     func(p *Proposal) bool
	}{
		{"nearly no uptake", pot(7000, 30), nil, advice.Withhold, []string{"withhold-enough"}, nil},
		{"far above the full point", pot(7000, 300), func(r *Request) { r.Situation.WaterContent, r.Situation.Capacity = 0.645, 0.66 }, advice.Withhold, []string{"withhold-wet"},
			func(p *Proposal) bool { return p.Setpoints.TriggerWaterContent == 0.525 }},
		{"saturated", pot(7000, 200), func(r *Request) {
			r.Situation.WaterContent, r.Situation.Capacity, r.SaturationPoint = 0.68, 0.70, 0.64
		}, advice.Withhold, []string{"withhold-saturated"}, nil},
		{"far below the refill point", pot(7000, 1300), func(r *Request) { r.Situation.WaterContent, r.LastPeak = 0.38, 0.42 }, advice.Irrigate, []string{"below-refill-point"},
			func(p *Proposal) bool { // at once, and over several shots
				sp := p.Setpoints
				return sp.FirstShotAt.Sub(dayOf(sp)) < 30*time.Minute && len(sp.Schedule) >= 8 && p.Expected.PeakWaterContent > 0.56
			}},
		{"more thirst than the day's limit", pot(7000, 4000), func(r *Request) { r.Limits.MaxDailyML = 1500 }, advice.Irrigate, []string{"daily-limit-binds"},
			func(p *Proposal) bool {
				return p.LimitBinds && p.Setpoints.MaxVolumeML > 1300 && p.Setpoints.ScheduledML() > 1300
			}},
		{"shots too small for the thirst", pot(7000, 6000), func(r *Request) { r.Limits = Limits{MaxShotML: 60, MaxDailyML: 12000, MinIntervalMin: 30} }, advice.Irrigate, []string{"shot-limit-binds"},
			func(p *Proposal) bool { return p.LimitBinds && p.Setpoints.ShotVolumeML >= 50 }},
		{"a day shorter than the interval", pot(7000, 1300), func(r *Request) { r.Limits.MinIntervalMin = 26 * 60 }, advice.Irrigate, []string{"single-shot"},
			func(p *Proposal) bool { return len(p.Setpoints.Schedule) == 1 && p.Setpoints.MinIntervalS == 26*3600 }},
		{"emitters of unknown flow", pot(7000, 1300), func(r *Request) { r.FlowMLPerS = 0 }, advice.Irrigate, []string{"flow-unknown"},
			func(p *Proposal) bool { return p.Setpoints.RunTimeS == 0 && p.Setpoints.ShotVolumeML%5 == 0 }},
		{"limits below a mL", pot(7000, 1300), func(r *Request) { r.Limits.MaxShotML = 0.5 }, advice.Inspect, []string{"inspect-limits", "limit-allows-no-shot"},
			func(p *Proposal) bool { return p.Setpoints == nil && p.LimitBinds }},
		{"below quorum", pot(7000, 1300), func(r *Request) { r.Quorum, r.Healthy, r.Needed = false, 1, 2 }, advice.Inspect, []string{"inspect-quorum"}, nil},
		{"a person needs until noon", pot(7000, 1300), func(r *Request) { r.Earliest = r.DayStart.Add(6*time.Hour + time.Second) }, advice.Irrigate, []string{"approval-lead-binds"},
			func(p *Proposal) bool {
				return p.Setpoints.FirstShotAt.Hour() == 12 && p.Setpoints.FirstShotAt.Minute() == 5
			}},
		{"a tiny pot", pot(250, 330), nil, advice.Irrigate, nil,
			func(p *Proposal) bool { return len(p.Setpoints.Schedule) >= 15 }},
		{"recovering", pot(7000, 1300), func(r *Request) { r.Recovering = true }, advice.Irrigate, []string{"recovery"},
			func(p *Proposal) bool {
				return p.Expected.OvernightDryback < 0.048 && p.Setpoints.TargetWaterContent <= 0.585 && float64(p.Setpoints.ShotVolumeML) <= 0.042*7000
			}},
		{"probes that may read low", pot(7000, 1300), func(r *Request) { r.ReadsLow, r.Holds = 0.025, 0.66 }, advice.Irrigate, []string{"probes-may-read-low"},
			func(p *Proposal) bool {
				as := Best(pot(7000, 1300), new(Scratch))
				lower := as.Expected.PeakWaterContent - p.Expected.PeakWaterContent
				return lower > 0.015 && lower < 0.035 && p.Setpoints.TargetWaterContent < as.Setpoints.TargetWaterContent
			}},
		{"a band too narrow to be lowered", pot(7000, 1300), func(r *Request) { r.ReadsLow, r.Holds, r.Band.RefillPoint = 0.05, 0.7, 0.582 }, advice.Irrigate, nil,
			func(p *Proposal) bool { return !says(p, "probes-may-read-low") }},
		{"too wet where the probes may read low", pot(7000, 1300), func(r *Request) {
			r.ReadsLow, r.Holds, r.SaturationPoint = 0.03, 0.67, 0.62
			r.Situation.WaterContent, r.Situation.UptakeML = 0.60, make([]float64, len(r.Situation.UptakeML))
		}, advice.Withhold, []string{"withhold-saturated", "probes-may-read-low"}, nil},
		{"the day's volume is used up", pot(7000, 1300), func(r *Request) {
			r.Situation.At = r.DayStart.Add(6 * time.Hour)
			r.Situation.UptakeML = r.Situation.UptakeML[216:]
			r.Limits.MaxDailyML, r.GivenML, r.TargetReached = 900, 900, true
		}, advice.Withhold, []string{"limit-allows-no-shot"}, nil},
		{"dry, and water for part of it", pot(7000, 1300), func(r *Request) { // no night on target is worth a zone that dries out
			r.Situation.WaterContent, r.LastPeak, r.Limits.MaxDailyML = 0.40, 0.42, 900
			r.Situation.At = r.DayStart.Add(8 * time.Hour)
			r.Situation.UptakeML = r.Situation.UptakeML[240:]
		}, advice.Irrigate, []string{"below-refill-point"}, nil},
		{"dry, and the day's volume is used up", pot(7000, 1300), func(r *Request) {
			r.Situation.At = r.DayStart.Add(6 * time.Hour)
			r.Situation.UptakeML = r.Situation.UptakeML[216:]
			r.Situation.WaterContent, r.Limits.MaxDailyML, r.GivenML, r.TargetReached = 0.40, 900, 900, true
		}, advice.Withhold, []string{"withhold-dry", "limit-allows-no-shot"},
			func(p *Proposal) bool { return p.Setpoints.TriggerWaterContent < 0.40 }},
		{"dry for another reason than the limit", pot(7000, 500), func(r *Request) {
			r.Situation.WaterContent, r.LastPeak, r.Limits.MaxDailyML = 0.25, 0.30, 900
		}, advice.Irrigate, []string{"daily-limit-brings-back"}, func(p *Proposal) bool { return !says(p, "daily-limit-binds") }},
		{"a limit that leaves nothing to drain", pot(7000, 1600), func(r *Request) { r.Limits.MaxDailyML, r.Band.DrainFraction = 1500, 0.2 }, advice.Irrigate, []string{"drain-within-limit"},
			func(p *Proposal) bool { return !says(p, "drain-out-of-reach") }},
		{"a limit only a little above what is needed", pot(7000, 1300), func(r *Request) {
			r.Situation.WaterContent, r.LastPeak, r.Limits.MaxDailyML = 0.38, 0.42, 1500
		}, advice.Irrigate, []string{"daily-limit-binds"}, func(p *Proposal) bool { return !says(p, "daily-limit-brings-back") }},
		{"salt that no drain brings down", pot(7000, 1300), func(r *Request) {
			r.Salt = Salt{PoreEC: 4.5, PoreKnown: true, FeedEC: 2.4, FeedKnown: true, WantedEC: 3, WantedKnown: true}
		}, advice.Leach, []string{"leach-falls-short"}, nil},
		{"salt in a container that is dry", pot(7000, 1300), func(r *Request) {
			r.Salt = Salt{PoreEC: 4.5, PoreKnown: true, FeedEC: 2.0, FeedKnown: true, WantedEC: 3, WantedKnown: true}
			r.Situation.WaterContent, r.LastPeak = 0.40, 0.44
		}, advice.Irrigate, []string{"below-refill-point"}, nil},
		{"parched, and most of a shot runs past", pot(7000, 300), func(r *Request) { // one small shot is no way out
			r.Situation.WaterContent, r.LastPeak, r.Limits.MaxDailyML, r.Situation.Capture, r.Situation.CaptureSD = 0.30, 0.33, 2000, 0.4, 0.1
		}, advice.Irrigate, []string{"below-refill-point"}, func(p *Proposal) bool { return p.Setpoints.ScheduledML() > 1500 }},
		{"salt that drain brings down", pot(7000, 1300), func(r *Request) {
			r.Salt = Salt{PoreEC: 4.5, PoreKnown: true, FeedEC: 2.0, FeedKnown: true, WantedEC: 3, WantedKnown: true}
		}, advice.Leach, []string{"pore-ec-high"}, func(p *Proposal) bool { return !says(p, "leach-falls-short") }},
		{"water still comes before", pot(7000, 1300), func(r *Request) {
			r.Situation.WaterContent = 0.49
			r.Committed = []forecast.Shot{{Step: 3, VolumeML: 300}, {Step: 9, VolumeML: 300}}
		}, advice.Irrigate, []string{"refill-point-after-water"}, func(p *Proposal) bool { return !says(p, "refill-point-ahead") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.do != nil {
				c.do(c.r)
			}
			p := Best(c.r, new(Scratch))
			if p.Action != c.action {
				t.Errorf("%s, want %s", p.Action, c.action)
			}
			for _, code := range c.codes {
				if !says(&p, code) {
					t.Errorf("%s is not said", code)
				}
			}
			if c.ok != nil && (p.Action == c.action) && !c.ok(&p) {
				t.Error("not as it should be")
			}
			if t.Failed() {
				show(t, &p)
			}
		})
	}
}

func dayOf(sp *advice.Setpoints) time.Time {
	y, m, d := sp.FirstShotAt.Date()
	return time.Date(y, m, d, 6, 0, 0, 0, time.UTC)
}

// A crop lit by night, with the lamps on from 20:00 to 08:00 local time, and the
// nights on which the clocks change: the plan lies in its day, by the clock that
// the people there see.
func TestNightCropAndClockChange(t *testing.T) {
	madrid, err := time.LoadLocation("Europe/Madrid")
	if err != nil {
		t.Skip("no time zones here: ", err)
	}
	for _, date := range [][2]int{{3, 28}, {10, 24}, {6, 10}} { // the night after the first two is an hour short, an hour long
		start := time.Date(2026, time.Month(date[0]), date[1], 20, 0, 0, 0, madrid)
		end := time.Date(2026, time.Month(date[0]), date[1]+1, 8, 0, 0, 0, madrid)
		next := time.Date(2026, time.Month(date[0]), date[1]+1, 20, 0, 0, 0, madrid)
		r := pot(7000, 1300)
		r.Situation.At = start.Add(-12 * time.Hour)
		r.DayStart, r.DaytimeEnd, r.NextDayStart, r.Location = start, end, next, madrid
		r.Situation.UptakeML = make([]float64, 12*44)
		for k := range r.Situation.UptakeML {
			at := r.Situation.At.Add(time.Duration(k) * forecast.Step)
			r.Situation.UptakeML[k] = 1.2
			if !at.Before(start) && at.Before(end) || !at.Before(next) {
				r.Situation.UptakeML[k] = 7.5
			}
		}
		p := Best(r, new(Scratch))
		if err := takesNoProbe(r, &p); err != nil {
			t.Errorf("%v: %v", start, err)
		}
		if p.Action != advice.Irrigate || math.Abs(p.Expected.OvernightDryback-r.Band.OvernightDryback) > 0.012 {
			t.Errorf("%v: %s, dryback %v", start, p.Action, p.Expected)
		}
		before := p.Setpoints.FirstShotAt
		// The next day's plan takes the numbers of this one over by the clock.
		r.Previous = p.Setpoints
		r.Situation.At = r.Situation.At.Add(next.Sub(start))
		r.DayStart, r.DaytimeEnd, r.NextDayStart = next, end.AddDate(0, 0, 1), next.AddDate(0, 0, 1)
		var s Scratch
		s.begin(r)
		same := s.grid.at(s.before.first).In(madrid)
		if was := before.In(madrid); same.Hour() != was.Hour() || same.Minute() != was.Minute() {
			t.Errorf("a first shot at %v is taken over as %v", was, same)
		}
	}
}

func takesNoProbe(r *Request, p *Proposal) error {
	q := *p
	sp := p.Setpoints.Clone()
	sp.TriggerByProbe = []advice.ProbeTrigger{{Probe: "p1", WaterContent: 0.5}}
	q.Setpoints = sp
	return takes(r, &q)
}

func TestImpossibleRequestsPanic(t *testing.T) {
	for name, do := range map[string]func(r *Request){
		"no band":             func(r *Request) { r.Band.RefillPoint = r.Band.FullPoint },
		"a limit of NaN":      func(r *Request) { r.Limits.MaxDailyML = math.NaN() },
		"a day that is over":  func(r *Request) { r.Situation.At = r.NextDayStart },
		"uptake too short":    func(r *Request) { r.Situation.UptakeML = r.Situation.UptakeML[:100] },
		"an infinite flow":    func(r *Request) { r.FlowMLPerS = math.Inf(1) },
		"no location":         func(r *Request) { r.Location = nil },
		"an ending day first": func(r *Request) { r.NextDayStart = r.DayStart },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s went through", name)
				}
			}()
			r := pot(7000, 1300)
			do(r)
			Best(r, new(Scratch))
		}()
	}
}

func TestRoundVolume(t *testing.T) {
	for _, c := range []struct {
		wanted, most, flow float64
		ml, s              int
	}{
		{150, 300, 2 / 3.6, 150, 270}, // emi-027 of the references: 150 mL at 2 L/h is 270 s
		{100, 300, 2 / 3.6, 100, 180}, // emi-028
		{150, 300, 4 / 3.6, 150, 135}, // emi-029
		{75, 300, 1.2 / 3.6, 75, 225}, // emi-030
		{300, 300, 8 / 3.6, 300, 135}, // emi-031
		{148, 300, 0, 150, 0},
		{148, 149, 0, 145, 0},
		{7, 300, 0, 7, 0},
		{150, 300, 7.3, 146, 20},
		{10, 10, 7.3, 7, 1},
	} {
		if v, ok := roundVolume(c.wanted, c.most, c.flow); !ok || v != (volume{c.ml, c.s}) {
			t.Errorf("%v mL of at most %v at %v mL/s: %+v %v, want %d mL in %d s", c.wanted, c.most, c.flow, v, ok, c.ml, c.s)
		}
	}
	if v, ok := roundVolume(3, 3, 50); ok {
		t.Errorf("a second gives 50 mL, and %+v came out", v)
	}
}

// Where probes may be off, a plan keeps a distance to the full point and to the water
// content at which roots lack air, the larger the less is known; a saturation point far
// above the band makes no difference.
func TestUnsureZonesStayClearOfTheEdges(t *testing.T) {
	peak := func(saturation, levelSD float64) float64 {
		r := pot(7000, 900)
		r.Band.RefillPoint = 0.40 // room below
		r.SaturationPoint, r.LevelSD = saturation, levelSD
		var s Scratch
		p := Best(r, &s)
		if p.Expected == nil || p.Setpoints == nil || p.Setpoints.ShotVolumeML == 0 {
			t.Fatalf("saturated from %v with a level known to %v: %s; expected a day with water", saturation, levelSD, p.Action)
		}
		return p.Expected.PeakWaterContent
	}
	known := peak(0, 0.004)
	for _, c := range []struct{ saturation, levelSD, least, most float64 }{
		{0, 0.015, 0.004, 0.02}, {0, 0.03, 0.012, 0.04}, {0.61, 0.015, 0.008, 0.03}, {0.61, 0.03, 0.012, 0.04},
	} {
		if lower := known - peak(c.saturation, c.levelSD); lower < c.least || lower > c.most {
			t.Errorf("known to %v and saturated from %v, a plan peaks %v lower than one known to 0.004; expected %v to %v", c.levelSD, c.saturation, lower, c.least, c.most)
		}
	}
	for _, levelSD := range []float64{0.004, 0.015} {
		if far, never := peak(0.72, levelSD), peak(0, levelSD); far != never {
			t.Errorf("known to %v, far below saturation a plan peaks at %v, without it at %v; expected the same", levelSD, far, never)
		}
	}
}

// The edges of a band are as soft as the water content is unsure, by its own spread and by
// what all probes may be off alike, up to a quarter of the band; above the full point by no
// more than the container can stand above it.
func TestEdgesAreAsSoftAsTheWaterContentIsUnsure(t *testing.T) {
	for _, c := range []struct{ own, level, width, room, above, below float64 }{
		{0.004, 0.003, 0.2, 0.1, 1.5 * 0.005, 1.5 * 0.005},
		{0.003, 0.004, 0.2, 0.1, 1.5 * 0.005, 1.5 * 0.005},
		{0.006, 0.03, 0.1, 0.1, 0.025, 0.025},
		{0, 0, 0.1, 0.1, 0.003, 0.003},
		{0.003, 0.03, 0.4, 0.004, 1.5 * 0.005, 1.5 * math.Hypot(0.003, 0.03)},
		{0.004, 0.03, 0.4, -0.02, 1.5 * 0.004, 1.5 * math.Hypot(0.004, 0.03)},
	} {
		r := pot(7000, 900)
		r.LevelSD, r.Situation.WaterContentSD = c.level, c.own
		r.Band.RefillPoint, r.Holds = r.Band.FullPoint-c.width, r.Band.FullPoint+c.room
		if e := edgesOf(&r.Band, r); math.Abs(e.above.soft-c.above) > 1e-12 || math.Abs(e.below.soft-c.below) > 1e-12 {
			t.Errorf("known to %v and %v in a band of %v that the container can exceed by %v: the ramps are half %v and %v wide; expected %v and %v", c.own, c.level, c.width, c.room, e.above.soft, e.below.soft, c.above, c.below)
		}
	}
}

// The hours of saturation that are to be expected are those of the saturation point where
// the zone is known well, half as many where it lies on it, and none out of reach.
func TestExpectedSaturation(t *testing.T) {
	for _, c := range []struct{ w, sd, want float64 }{
		{0.70, 0.02, 0}, {0.80, 0.02, stepHours / 2}, {0.90, 0.02, stepHours},
		{0.801, 0, stepHours * 0.73}, {0.81, 0, stepHours},
	} {
		e := edges{full: 0.9, refill: 0.1, saturation: 0.80, above: rampOf(0, 0.8), below: rampOf(0, 0.8), perWidth: 1 / 0.8}
		e.softenSaturation(c.sd)
		var o outcome
		if e.judge(c.w, true, &o); math.Abs(o.airlessH-c.want) > 0.02*stepHours {
			t.Errorf("at %v, saturated from 0.80, known to %v: %v h of a step; expected %v", c.w, c.sd, o.airlessH, c.want)
		}
	}
}

// A withhold gives water back below where the zone is by more than its readings stray, and by
// no more for probes that may all be off alike: they don't bring the zone to its trigger.
func TestAWithholdEndsJustBelowADryZone(t *testing.T) {
	for _, levelSD := range []float64{0, 0.03} {
		r := pot(7000, 30)
		r.Band.RefillPoint, r.LevelSD = 0.40, levelSD
		r.Situation.WaterContent, r.Situation.WaterContentSD = 0.43, 0.004
		var s Scratch
		s.begin(r)
		if end := ofTicks(s.endOfWithhold()); end < 0.41 || end >= 0.43 {
			t.Errorf("of a zone at 0.43 whose probes are known to %v, a withhold ends at %v; expected between 0.41 and 0.43", levelSD, end)
		}
	}
}
