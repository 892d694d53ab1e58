package policy

import (
	"fmt"
	"math"
	"strings"
	"time"

	"rhizostat/policy/advice"
)

// planMark is one advice that a person was asked about.
type planMark struct {
	issued, from  time.Time
	first         time.Time
	wanted        float64 // drain fraction, raised on leach days
	why           string  // it was asked, one of the words of whyAsked
	night, drain  float64 // expected: overnight dryback, m3/m3; drain fraction, NaN without water
	scheduled, ml float64 // mL in the schedule; uptake expected
}

// whyAsked are the occasions on which people are asked, in the order of the table.
var whyAsked = []string{"evening", "first day", "superseded, first two days", "superseded later", "withhold ends", "nobody decided"}

// occasion tells why an advice was issued. Young is whether the zone has been
// seen for less than two days.
func (m *marks) occasion(a *advice.Advice) string {
	young := a.IssuedAt.Before(m.start.Add(48 * time.Hour))
	for _, r := range a.Reasons {
		if r.Code == "superseded-materially" && young {
			return whyAsked[2]
		}
		if r.Code == "superseded-materially" {
			return whyAsked[3]
		}
	}
	day := m.settings.DayAt(a.ValidFrom)
	switch {
	case a.IssuedAt.Before(day.Start) && len(m.plans) > 0:
		return whyAsked[0]
	case len(m.plans) == 0:
		return whyAsked[1]
	}
	for i := range m.plans {
		if p := &m.plans[i]; p.from.Equal(day.Start) && math.IsNaN(p.drain) {
			return whyAsked[4]
		}
	}
	return whyAsked[5]
}

func (m *marks) planned(a *advice.Advice) {
	p := planMark{issued: a.IssuedAt, from: a.ValidFrom, why: m.occasion(a), night: math.NaN(), drain: math.NaN()}
	if e := a.Expected; e != nil && a.Setpoints.ScheduledML() > 0 {
		p.wanted = a.Setpoints.DrainFraction
		p.first = a.Setpoints.FirstShotAt
		p.night, p.scheduled, p.ml = e.OvernightDryback, float64(a.Setpoints.ScheduledML()), float64(e.UptakeML)
		p.drain = float64(e.DrainML) / p.scheduled
	}
	m.plans = append(m.plans, p)
}

// planOf is the one plan that a day was watered by; nil where there were more or
// none.
func (m *marks) planOf(day IrrigationDay) *planMark {
	var found *planMark
	for i := range m.plans {
		p := &m.plans[i]
		if p.from.Before(day.Start) || !p.from.Before(day.Next) {
			continue
		}
		if found != nil || !p.from.Equal(day.Start) {
			return nil
		}
		found = p
	}
	return found
}

// planTally pools what plans expected against their targets, and what came
// against what they expected.
type planTally struct {
	asked                               map[string]float64
	days                                float64
	nightPlanned, nightCame             []float64
	outOfReach, nightReached            []float64 // 1 where no plan could; off the target where one could
	drainPlanned, drainCame, drainAsked []float64
	uptakeCame, persisted               []float64 // relative: off the plan, off the mean of the three days before
	nightAtStart, nightMid, nightLate   []float64 // off the target, by when the first shot comes
}

func (t *planTally) add(m *marks) {
	if t.asked == nil {
		t.asked = map[string]float64{}
	}
	for i := range m.plans {
		t.asked[m.plans[i].why]++
	}
	t.days += float64(m.days)
	from := m.start.AddDate(0, 0, warmUp)
	for day := m.settings.DayAt(from); day.Next.Before(m.start.AddDate(0, 0, m.days-1)); day = m.settings.DayAt(day.Next) {
		p := m.planOf(day)
		if p == nil || math.IsNaN(p.drain) {
			continue
		}
		a, b := m.sample(day.Start), m.sample(day.Next)
		if d, ok := m.overnight(day); ok {
			least, most := m.nightRange(day)
			out := most < m.band.dryback-nightNear || least > m.band.dryback+nightNear
			t.outOfReach = append(t.outOfReach, one(out))
			if !out {
				t.nightReached = append(t.nightReached, d-m.band.dryback)
			}
		}
		if g := m.given[b] - m.given[a]; g > 1 {
			t.drainPlanned = append(t.drainPlanned, p.drain-p.wanted)
			t.drainAsked = append(t.drainAsked, (m.drained[b]-m.drained[a])/g-p.wanted)
			t.drainCame = append(t.drainCame, (m.drained[b]-m.drained[a])/g-p.drain)
			if a >= 3*perDay {
				t.persisted = append(t.persisted, 3*(m.uptake[b]-m.uptake[a])/(m.uptake[a]-m.uptake[a-3*perDay])-1)
			}
			t.uptakeCame = append(t.uptakeCame, (m.uptake[b]-m.uptake[a])/p.ml-1)
		}
		if d, ok := m.overnight(day); ok {
			if next := m.planOf(m.settings.DayAt(day.Next)); next != nil && !next.first.IsZero() {
				switch after := next.first.Sub(day.Next); {
				case after <= 15*time.Minute:
					t.nightAtStart = append(t.nightAtStart, d-m.band.dryback)
				case after < 150*time.Minute:
					t.nightMid = append(t.nightMid, d-m.band.dryback)
				default:
					t.nightLate = append(t.nightLate, d-m.band.dryback)
				}
			}
			t.nightPlanned = append(t.nightPlanned, p.night-m.band.dryback)
			t.nightCame = append(t.nightCame, d-p.night)
		}
	}
}

func (t *planTally) String() string {
	var b strings.Builder
	for _, why := range whyAsked {
		fmt.Fprintf(&b, "  asked: %-28s %.3f a zone and day\n", why, t.asked[why]/t.days)
	}
	row := func(what string, v []float64, limit float64) {
		fmt.Fprintf(&b, "  %-42s mean %+.4f, mean absolute %.4f, within %.3f on %.2f of %d\n", what, average(v), average(absolute(v)), limit, within(v, limit), len(v))
	}
	fmt.Fprintf(&b, "  nights out of reach of what is drunk %.2f of %d\n", average(t.outOfReach), len(t.outOfReach))
	row("the other nights, off their target", t.nightReached, 0.012)
	row("night as planned to be seen, off its target", t.nightPlanned, 0.012)
	row("night as it came, off what was to be seen", t.nightCame, 0.012)
	row("drain as planned, off what was wanted", t.drainPlanned, 0.05)
	row("drain as it came, off the plan", t.drainCame, 0.05)
	row("drain as it came, off what was wanted", t.drainAsked, 0.05)
	row("night off its target, first shot at day start", t.nightAtStart, 0.012)
	row("  first shot within 2.5 h", t.nightMid, 0.012)
	row("  later", t.nightLate, 0.012)
	row("uptake off the three days before, share", t.persisted, 0.1)
	row("uptake as it came, off the plan, share", t.uptakeCame, 0.1)
	return b.String()
}
