package policy

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// tally pools the marks of many zones.
type tally struct {
	zones                        int
	zoneDays                     float64
	whole, level, course         []float64     // state error: of all containers, of those with probes, of those less the offset
	normalised, normalisedCourse []float64     // squared over the variance claimed
	errors                       [3][5]tallied // by variant and horizon
	naive                        [5][]float64  // as 24 h before
	explained, explainedOwn      []float64     // R2 of the day ahead, by zone
	sse, sst                     float64       // of the day ahead, each zone about its own mean
	balanced, balancedMoved      []float64     // R2 of the day ahead under the water given, by zone; of zones that moved
	balancedSSE, balancedSST     float64
	uptake, drain                []float64 // relative error of 24 h sums
	recall, precision            []float64 // of shots, by zone, where none are told
	ill, cried                   map[string]int
	probeDays                    float64
	inBand, inBandSeen           []float64 // share of daytime, by zone
	saturatedH, saturatedSeenH   []float64 // by zone and day, the latter as the engine sees it
	dryback, fraction            []float64 // error by day
	tooLittle, tooMuch           []float64 // 1 where no first and last shot make the night of what is drunk
	nightReached                 []float64 // error of the other nights
	asked                        []float64 // by zone, a day
	inspects                     int
	notNumbers                   int
	plans, gauged                planTally // gauged: of zones whose drain is told
}

// tallied are the errors of one variant at one horizon.
type tallied struct {
	abs          []float64 // against the truth with the zone's offset
	own          []float64 // against what the engine later held for true
	covered      []float64 // of the engine's own, 0 or 1
	coveredTruth []float64
}

func newTally() *tally { return &tally{ill: map[string]int{}, cried: map[string]int{}} }

// add pools one zone.
func (t *tally) add(m *marks) {
	t.zones++
	t.zoneDays += float64(m.days - warmUp)
	t.probeDays += float64((m.days - warmUp) * len(m.ill))
	for k, v := range m.illBy {
		t.ill[k] += v
	}
	for k, v := range m.cried {
		t.cried[k] += v
	}
	t.inspects += m.inspects
	t.notNumbers += m.infinite
	t.asked = append(t.asked, float64(m.asked)/float64(m.days))
	t.addState(m)
	t.addForecasts(m)
	t.addBalance(m)
	t.addShots(m)
	t.addDays(m)
	t.plans.add(m)
	if m.gauged {
		t.gauged.add(m)
	}
}

func (t *tally) addState(m *marks) {
	for i := warmUp * perDay; i < len(m.truth); i++ {
		d := m.estimate[i] - m.probed[i]
		if math.IsNaN(d) {
			continue
		}
		t.whole = append(t.whole, math.Abs(m.estimate[i]-m.truth[i]))
		t.level = append(t.level, math.Abs(d))
		t.course = append(t.course, math.Abs(d-m.offset))
		v := m.sd[i] * m.sd[i]
		t.normalised = append(t.normalised, d*d/v)
		t.normalisedCourse = append(t.normalisedCourse, (d-m.offset)*(d-m.offset)/v)
	}
	for i := (warmUp + 1) * perDay; i < len(m.truth); i += perDay {
		up, dr, in := m.uptake[i]-m.uptake[i-perDay], m.drained[i]-m.drained[i-perDay], m.given[i]-m.given[i-perDay]
		if math.IsNaN(m.uptake24[i]) || up < 1 || in < 1 {
			continue
		}
		t.uptake = append(t.uptake, math.Abs(m.uptake24[i]-up)/up)
		t.drain = append(t.drain, math.Abs(m.drain24[i]-dr)/in)
	}
}

func (t *tally) addForecasts(m *marks) {
	var sse, sst, sum, n, sseOwn float64
	for _, x := range m.probed[warmUp*perDay:] {
		sum += x
		n++
	}
	mean := sum / n
	for i := range m.forecasts {
		k := &m.forecasts[i]
		for h, hours := range horizonHours {
			at := k.at + hours*perHour - 1 // sample 0 is 5 min after the start
			if k.at < warmUp*perDay || at >= len(m.truth) || math.IsNaN(m.estimate[at]) {
				continue
			}
			truth, own := m.probed[at]+m.offset, m.estimate[at]
			for v := range 3 {
				if v == 0 && !m.executed(k, h) || v == 1 && m.given[at] > m.given[k.at] {
					continue
				}
				e := &t.errors[v][h]
				e.abs = append(e.abs, math.Abs(k.value[v][h]-truth))
				e.own = append(e.own, math.Abs(k.value[v][h]-own))
				e.covered = append(e.covered, one(own >= k.low[v][h] && own <= k.high[v][h]))
				e.coveredTruth = append(e.coveredTruth, one(truth >= k.low[v][h] && truth <= k.high[v][h]))
				if v == 0 && hours == 24 {
					sse += (k.value[v][h] - truth) * (k.value[v][h] - truth)
					sseOwn += (k.value[v][h] - own) * (k.value[v][h] - own)
					sst += (m.probed[at] - mean) * (m.probed[at] - mean)
				}
			}
			if before := at - perDay; before >= 0 && !math.IsNaN(m.estimate[before]) {
				t.naive[h] = append(t.naive[h], math.Abs(own-m.estimate[before]))
			}
		}
	}
	t.sse += sse
	t.sst += sst
	if sst > 0 {
		t.explained = append(t.explained, 1-sse/sst)
		t.explainedOwn = append(t.explainedOwn, 1-sseOwn/sst)
	}
}

// moved is the standard deviation of the water content over a record above which
// it has moved, m3/m3 (common practice, no source). A zone that is held well stays
// below it, and R2 about its own mean then says how small the movement was, not
// how good the forecast.
const moved = 0.02

// addBalance takes the day-ahead forecast at all hours under the water that was
// given: R2 over each zone's whole record about its own mean.
func (t *tally) addBalance(m *marks) {
	mean, sse, sst := average(m.dayLevels), 0.0, 0.0
	for i, s := range m.dayAhead {
		sse += s.Error * s.Error
		sst += (m.dayLevels[i] - mean) * (m.dayLevels[i] - mean)
	}
	if sst <= 0 {
		return
	}
	t.balancedSSE += sse
	t.balancedSST += sst
	t.balanced = append(t.balanced, 1-sse/sst)
	if math.Sqrt(sst/float64(len(m.dayLevels))) > moved {
		t.balancedMoved = append(t.balancedMoved, 1-sse/sst)
	}
}

// addShots matches the shots seen with those given where none are told, from 15
// minutes before to 20 after their start.
func (t *tally) addShots(m *marks) {
	if !m.hidden {
		return
	}
	from := m.start.AddDate(0, 0, warmUp)
	var given []time.Time
	for _, s := range m.shots {
		if s.At.After(from) {
			given = append(given, s.At)
		}
	}
	hits, seen := 0, 0
	used := make([]bool, len(given))
	for _, at := range m.seen {
		if !at.After(from) {
			continue
		}
		seen++
		for i, g := range given {
			if d := at.Sub(g); !used[i] && d > -15*time.Minute && d < 20*time.Minute {
				used[i] = true
				hits++
				break
			}
		}
	}
	if len(given) > 0 && seen > 0 {
		t.recall = append(t.recall, float64(hits)/float64(len(given)))
		t.precision = append(t.precision, float64(hits)/float64(seen))
	}
}

// addDays judges the irrigation days.
func (t *tally) addDays(m *marks) {
	in, inSeen, daytime := 0.0, 0.0, 0.0
	from := m.start.AddDate(0, 0, warmUp)
	for day := m.settings.DayAt(from); day.Next.Before(m.start.AddDate(0, 0, m.days-1)); day = m.settings.DayAt(day.Next) {
		a, b := m.sample(day.Start), m.sample(day.Next)
		wet, wetSeen := 0.0, 0.0
		for i := a; i < b; i++ {
			wet += one(m.wet[i]) / perHour
			wetSeen += one(m.estimate[i] > m.band.saturated) / perHour
			if i >= m.sample(day.DaytimeEnd) {
				continue
			}
			daytime++
			in += one(m.truth[i] >= m.band.refill && m.truth[i] <= m.band.full)
			seen := m.estimate[i]
			inSeen += one(seen >= m.band.refill && seen <= m.band.full)
		}
		t.saturatedH, t.saturatedSeenH = append(t.saturatedH, wet), append(t.saturatedSeenH, wetSeen)
		if g := m.given[b] - m.given[a]; g > 1 {
			t.fraction = append(t.fraction, (m.drained[b]-m.drained[a])/g-m.band.drain)
		}
		if d, ok := m.overnight(day); ok {
			t.dryback = append(t.dryback, d-m.band.dryback)
			least, most := m.nightRange(day)
			t.tooLittle = append(t.tooLittle, one(most < m.band.dryback-nightNear))
			t.tooMuch = append(t.tooMuch, one(least > m.band.dryback+nightNear))
			if most >= m.band.dryback-nightNear && least <= m.band.dryback+nightNear {
				t.nightReached = append(t.nightReached, d-m.band.dryback)
			}
		}
	}
	if daytime > 0 {
		t.inBand = append(t.inBand, in/daytime)
		t.inBandSeen = append(t.inBandSeen, inSeen/daytime)
	}
}

// nightNear is how near its target an overnight dryback is on it, m3/m3.
const nightNear = 0.012

// nightRange is the least and the most that the night after a day could dry back,
// m3/m3: from a last shot as daytime ends to a first one as the next day starts, and
// from the day's first moment to three hours into the next day.
func (m *marks) nightRange(day IrrigationDay) (least, most float64) {
	v := m.settings.Container.VolumeML()
	at := func(t time.Time) float64 { return m.uptake[min(max(m.sample(t), 0), len(m.uptake)-1)] }
	return (at(day.Next) - at(day.DaytimeEnd)) / v, (at(day.Next.Add(freeFirst)) - at(day.Start)) / v
}

// overnight is the true dryback from the last peak of a day to the first shot of
// the next.
func (m *marks) overnight(day IrrigationDay) (float64, bool) {
	var last, first time.Time
	for _, s := range m.shots {
		if !s.At.Before(day.Start) && s.At.Before(day.Next) {
			last = s.At
		}
		if first.IsZero() && !s.At.Before(day.Next) {
			first = s.At
		}
	}
	if last.IsZero() || first.IsZero() || first.Sub(day.Next) > 12*time.Hour {
		return 0, false
	}
	peak := 0.0
	for i := m.sample(last); i < min(m.sample(last)+2*perHour, m.sample(first)); i++ {
		peak = math.Max(peak, m.truth[i])
	}
	end := m.sample(first) - 1
	if peak == 0 || end < 0 || end >= len(m.truth) {
		return 0, false
	}
	return peak - m.truth[end], true
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func total(m map[string]int) int {
	n := 0
	for _, v := range m {
		n += v
	}
	return n
}

func absolute(v []float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = math.Abs(x)
	}
	return out
}

func within(v []float64, limit float64) float64 {
	n := 0.0
	for _, x := range v {
		n += one(math.Abs(x) <= limit)
	}
	return n / float64(len(v))
}

// String is the table.
func (t *tally) String() string { return t.learning() + t.days() }

// learning is the part of the table on what the engine knows.
func (t *tally) learning() string {
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	say("%d zones, %.0f zone-days after %d days of learning", t.zones, t.zoneDays, warmUp)
	say("state error, m3/m3          mean %.4f of all containers, %.4f of those with probes, %.4f less the probes' own offset (95 %% %.4f)", average(t.whole), average(t.level), average(t.course), quantile(t.course, 0.95))
	say("  squared over variance     %.2f, %.2f less the offset (1 is honest)", average(t.normalised), average(t.normalisedCourse))
	say("forecast, m3/m3               1 h     3 h     6 h    12 h    24 h")
	for v, name := range []string{"plan, executed", "no water", "as usual"} {
		row := func(what string, of func(e *tallied) float64) {
			fmt.Fprintf(&b, "  %-15s %-9s", name, what)
			for h := range horizonHours {
				fmt.Fprintf(&b, " %7.4f", of(&t.errors[v][h]))
			}
			b.WriteByte('\n')
		}
		row("truth", func(e *tallied) float64 { return average(e.abs) })
		row("own", func(e *tallied) float64 { return average(e.own) })
		row("covered", func(e *tallied) float64 { return average(e.covered) })
		row("c. truth", func(e *tallied) float64 { return average(e.coveredTruth) })
		row("count", func(e *tallied) float64 { return float64(len(e.abs)) })
	}
	fmt.Fprintf(&b, "  %-25s", "as 24 h before")
	for h := range horizonHours {
		fmt.Fprintf(&b, " %7.4f", average(t.naive[h]))
	}
	b.WriteByte('\n')
	say("R2 of the day ahead         %.3f of all about the zones' means; by zone median %.3f, worst tenth %.3f; against what it later held for true %.3f, %.3f", 1-t.sse/t.sst, middle(t.explained), quantile(t.explained, 0.1), middle(t.explainedOwn), quantile(t.explainedOwn, 0.1))
	say("  at all hours, water known   %.3f of all; by zone median %.3f, worst tenth %.3f; of the %d zones that moved by more than %.2f %.3f", 1-t.balancedSSE/t.balancedSST, middle(t.balanced), quantile(t.balanced, 0.1), len(t.balancedMoved), moved, middle(t.balancedMoved))
	say("uptake of 24 h              median error %.3f of it, 90 %% %.3f", middle(t.uptake), quantile(t.uptake, 0.9))
	say("drain of 24 h               median error %.3f of the water given, 90 %% %.3f", middle(t.drain), quantile(t.drain, 0.9))
	say("shots seen, none told       recall %.3f, precision %.3f (mean of %d zones)", average(t.recall), average(t.precision), len(t.recall))
	say("probe health                %.2f false alarms per 100 probe-days %v", 100*float64(total(t.ill))/t.probeDays, t.ill)
	say("findings above 0.5          %.2f per 100 zone-days %v", 100*float64(total(t.cried))/t.zoneDays, t.cried)
	return b.String()
}

// days is the part of the table on what became of the days.
func (t *tally) days() string {
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	say("daytime in band             mean %.3f (as the engine sees it %.3f), worst tenth of zones %.3f", average(t.inBand), average(t.inBandSeen), quantile(t.inBand, 0.1))
	say("saturated, h a day          mean %.2f (as the engine sees it %.2f)", average(t.saturatedH), average(t.saturatedSeenH))
	say("overnight dryback off, m3/m3 mean %+.4f, mean absolute %.4f, within 0.012 on %.2f of %d nights", average(t.dryback), average(absolute(t.dryback)), within(t.dryback, 0.012), len(t.dryback))
	say("  out of reach              %.3f as a whole day's uptake is too little, %.3f as the dark hours' is too much; the others within 0.012 on %.2f of %d", average(t.tooLittle), average(t.tooMuch), within(t.nightReached, nightNear), len(t.nightReached))
	say("drain fraction off          mean %+.3f, mean absolute %.3f, within 0.05 on %.2f of days", average(t.fraction), average(absolute(t.fraction)), within(t.fraction, 0.05))
	say("decisions asked             %.2f a zone and day, worst zone %.2f; %d inspections", average(t.asked), quantile(t.asked, 1), t.inspects)
	if average(t.asked) == 0 { // a planner of the yardstick asks nobody
		return b.String()
	}
	fmt.Fprintf(&b, "plans\n%v", &t.plans)
	fmt.Fprintf(&b, "plans of zones whose drain is told\n%v", &t.gauged)
	return b.String()
}
