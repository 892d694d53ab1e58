package plan

import (
	"math"
	"testing"
	"time"

	"rhizostat/policy/forecast"
	"rhizostat/policy/hydraulics"
)

// issueAt is an evening; the planned day starts twelve hours later.
var issueAt = time.Date(2026, 5, 4, 18, 0, 0, 0, time.UTC)

// pot is an example zone: a container of 7 L of coir mix whose crop drinks
// uptakeML between two day starts, nine tenths of it in the twelve hours of
// light, as a half sine.
func pot(volumeML, uptakeML float64) *Request {
	steps := 12*36 + 72
	uptake := make([]float64, steps)
	sum := 0.0
	for k := range uptake {
		h := math.Mod(18+float64(k)/12, 24)
		u := 0.1 / 12
		if h >= 6 && h < 18 {
			u = 0.9 * math.Pi / 24 * math.Sin(math.Pi*(h-6)/12)
		}
		uptake[k] = u
		if k >= 144 && k < 144+288 {
			sum += u
		}
	}
	for k := range uptake {
		uptake[k] *= uptakeML / sum
	}
	return &Request{
		Situation: &forecast.Situation{
			At: issueAt, WaterContent: 0.575, WaterContentSD: 0.006, VolumeML: volumeML,
			Capacity: 0.61, CapacitySD: 0.006, Capture: 0.93, CaptureSD: 0.03, DrainTimeS: 900,
			UptakeML: uptake, UptakeRelSD: 0.15, UptakeFullAt: 0.35, UptakeNoneAt: 0.15, Ceiling: 0.72,
		},
		DayStart: issueAt.Add(12 * time.Hour), DaytimeEnd: issueAt.Add(24 * time.Hour), NextDayStart: issueAt.Add(36 * time.Hour),
		Location:        time.UTC,
		Band:            hydraulics.Band{FullPoint: 0.60, RefillPoint: 0.50, OvernightDryback: 0.06, DrainFraction: 0.10},
		SaturationPoint: 0.66, TotalPorosity: 0.75,
		Limits:     Limits{MaxShotML: 0.05 * volumeML, MaxDailyML: 3 * uptakeML, MinIntervalMin: 15},
		Priorities: DefaultPriorities(), FlowMLPerS: 2.0 / 3.6,
		ByClock: 0.5, Quorum: true, Healthy: 2, Needed: 1, LastPeak: 0.60,
	}
}

func show(t *testing.T, p *Proposal) {
	if sp := p.Setpoints; sp != nil {
		c := *sp
		c.Schedule = nil
		t.Logf("%+v n=%d", c, len(sp.Schedule))
		for _, x := range sp.Schedule {
			t.Log(x.At.Format("15:04"), x.VolumeML, x.RunTimeS)
		}
	}
	if p.Expected != nil {
		t.Logf("%+v", *p.Expected)
	}
	for _, r := range p.Reasons {
		t.Log(r.Code, ": ", r.Text)
	}
}

var sinkProposal Proposal

func BenchmarkBest(b *testing.B) {
	r := pot(7000, 1300)
	var s Scratch
	b.ReportAllocs()
	for b.Loop() {
		sinkProposal = Best(r, &s)
	}
}

// BenchmarkEvening plans a thousand different zones.
func BenchmarkEvening(b *testing.B) {
	zones := make([]*Request, 1000)
	for i := range zones {
		zones[i] = pot(3000+10*float64(i), 300+2*float64(i))
	}
	var s Scratch
	b.ReportAllocs()
	for b.Loop() {
		for _, r := range zones {
			sinkProposal = Best(r, &s)
		}
	}
}

func BenchmarkRescore(b *testing.B) {
	r := pot(7000, 1300)
	var s Scratch
	p := Best(r, &s)
	b.ReportAllocs()
	for b.Loop() {
		Rescore(p.Setpoints, r, &s)
	}
}
