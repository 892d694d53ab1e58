package policy

import (
	"fmt"
	"math"
	"os"
	"testing"
	"time"

	"rhizostat/policy/advice"
)

// TestSeasonDays prints the days of one zone of a season, so that a person can
// see what the engine knew, advised and got: RHIZOSTAT_ZONE=seed:zone.
func TestSeasonDays(t *testing.T) {
	asked := os.Getenv("RHIZOSTAT_ZONE")
	if asked == "" {
		t.Skip("prints the days of one zone: ask for it with RHIZOSTAT_ZONE=seed:zone")
	}
	var seed uint64
	var zone int
	if _, err := fmt.Sscanf(asked, "%d:%d", &seed, &zone); err != nil {
		t.Fatalf("RHIZOSTAT_ZONE is %q; expected seed:zone: %v", asked, err)
	}
	s := drawSeason(seed, 3, 14+int(seed%100)%3*7)
	if os.Getenv("RHIZOSTAT_RIGHT") != "" {
		s = s.toldRight()
	}
	p, err := stage(s)
	if err != nil {
		t.Fatal(err)
	}
	me := p.players[zone]
	spec := &s.zones[zone].spec
	t.Logf("%s %+v\nsubstrate %+v\nband %+v saturated %.3f design %.3f stress %.3f volume %.0f approve %v\ntells volume %v valve %v totals %v drain every %v\nprobes %+v\nbias of emitters %.3f timer %+v own probe %q clock %v",
		spec.Name, spec.Container, spec.Substrate, me.engine.ground.band, me.engine.ground.saturated, me.engine.ground.constants.DesignCapacity, me.engine.ground.constants.StressMean, me.engine.ground.constants.VolumeML, s.zones[zone].approve,
		spec.TellsVolume, spec.TellsValve, spec.Totals, spec.DrainEvery, spec.Probes, spec.EmitterBias, s.zones[zone].controller.Timer, me.controller.OwnProbe, me.controller.ByClock)
	var said []string
	var expected *advice.Expected
	day := me.engine.settings.DayAt(s.start.Add(time.Minute))
	verbose := os.Getenv("RHIZOSTAT_VERBOSE") != ""
	each := func(z int, out *Output) {
		if z != zone {
			return
		}
		if a := out.Advice; a != nil {
			said = append(said, sayAdvice(a, verbose))
			if a.Expected != nil {
				expected = a.Expected
			}
		}
	}
	for range s.days * 24 * 60 {
		p.minute(each)
		if now := p.f.Now(); !now.Before(day.Next) {
			t.Log(sayDay(me, day, expected))
			for _, x := range said {
				t.Log("      " + x)
			}
			said = said[:0]
			day = me.engine.settings.DayAt(now)
		}
	}
}

func sayAdvice(a *advice.Advice, verbose bool) string {
	if a.Setpoints == nil {
		return fmt.Sprintf("%s %s", a.IssuedAt.Format("02 15:04"), a.Action)
	}
	sp := a.Setpoints
	out := fmt.Sprintf("%s %s for %s: %s-%s %d mL by clock %d times, trigger %.3f target %.3f interval %d s most %d mL", a.IssuedAt.Format("02 15:04"), a.Action, a.ValidFrom.Format("02 15:04"),
		sp.FirstShotAt.Format("15:04"), sp.LastShotBy.Format("15:04"), sp.ShotVolumeML, len(sp.Schedule), sp.TriggerWaterContent, sp.TargetWaterContent, sp.MinIntervalS, sp.MaxVolumeML)
	for _, r := range a.Reasons {
		if verbose || r.Code == "superseded-materially" {
			out += "\n         " + r.Code + ": " + r.Text
		}
	}
	return out
}

// sayDay sums one day up: the truth first, what the engine holds after it.
func sayDay(p *player, day IrrigationDay, expected *advice.Expected) string {
	m := p.marks
	a, b := max(m.sample(day.Start), 0), min(max(m.sample(day.Next), 1), len(m.truth)-1)
	e := max(m.sample(day.DaytimeEnd), 0)
	peak, low, peakE := 0.0, 1.0, 0.0
	for i := a; i < b; i++ {
		peak, low = math.Max(peak, m.truth[i]), math.Min(low, m.truth[i])
		peakE = math.Max(peakE, m.estimate[i])
	}
	n := 0
	var first, last time.Time
	for _, s := range m.shots {
		if !s.At.Before(day.Start) && s.At.Before(day.Next) {
			if n == 0 {
				first = s.At
			}
			last = s.At
			n++
		}
	}
	l := &p.engine.m.Learned
	night, _ := m.overnight(day)
	g := m.given[b] - m.given[a]
	out := fmt.Sprintf("%s %2d shots %s-%s truth %.3f..%.3f (seen %.3f) at day end %.3f next %.3f | given %.0f drunk %.0f drained %.0f (%.2f) | seen: drunk %.0f drained %.0f given %.0f | capacity %.3f+-%.3f capture %.2f+-%.2f gain %.2f drain %.0f s uptake sd %.2f lift %.2f sd %.4f",
		day.Start.Format("02 15:04"), n, first.Format("15:04"), last.Format("15:04"), low, peak, peakE, m.truth[min(e, b)], m.truth[b], g, m.uptake[b]-m.uptake[a], m.drained[b]-m.drained[a], (m.drained[b]-m.drained[a])/math.Max(g, 1),
		m.uptake24[b], m.drain24[b], l.Sums24h().IrrigationML, l.Capacity.Mean, l.Capacity.SD(), l.Capture.Mean, l.Capture.SD(), l.Gain.Mean, math.Exp(l.DrainLog.Mean), l.UptakeRelSD(), l.Rates.Lift, m.sd[b])
	out += fmt.Sprintf(" | night before %.3f wanted %.3f", night, m.band.dryback)
	if expected != nil {
		out += fmt.Sprintf(" | expected next peak %.3f trough %.3f night %.3f uptake %d drain %d", expected.PeakWaterContent, expected.TroughWaterContent, expected.OvernightDryback, expected.UptakeML, expected.DrainML)
	}
	return out
}
