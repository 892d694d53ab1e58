package policy

import (
	"math"
	"slices"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/simulator"
)

// marks is the record of one zone over a season, and how it did. Samples are
// every 5 minutes from the start.
type marks struct {
	seed      uint64
	zone      int
	settings  Settings
	byClock   bool
	hidden    bool // neither volumes nor valve are told
	substrate string
	start     time.Time
	days      int
	band      struct{ full, refill, dryback, drain, saturated float64 }
	minutes   int
	truth     []float64 // water content, mean of all containers
	probed    []float64 // mean of the containers that carry probes
	carriers  []int     // those containers
	wet       []bool    // saturated
	estimate  []float64 // NaN before the first
	sd        []float64
	uptake    []float64 // truth, mL since the start, evaporation with it
	drained   []float64
	given     []float64
	uptake24  []float64 // the engine's
	drain24   []float64
	shots     []simulator.Shot // truly given
	seen      []time.Time      // by the engine
	lastSeen  int64
	forecasts []forecastMark
	dayAhead  []forecast.Scored // of the balance under the water that was given, after the warm-up
	dayLevels []float64         // what came, the engine's own
	scored    int32             // count of those seen
	asked     int
	plans     []planMark
	gauged    bool // drain is told
	inspects  int
	ill       []int // episodes by probe
	wasIll    []bool
	illBy     map[string]int
	cried     map[string]int // findings above 0.5, episodes by cause
	wasCried  map[string]bool
	recent    *State
	infinite  int // numbers that are none

	offset float64 // of the estimate over the probed containers' truth, median
}

// horizonHours are the horizons that forecasts are held against.
var horizonHours = [5]int{1, 3, 6, 12, 24}

const (
	perHour = 12 // samples
	perDay  = 24 * perHour
	warmUp  = 3 // days left out while the engine learns
)

// forecastMark is what one forecast said at the horizons.
type forecastMark struct {
	at          int // sample
	value       [3][5]float64
	low, high   [3][5]float64
	planned     [5]float64 // mL that the standing advice gives by then
	underAdvice [5]bool    // an advice stands for the whole of it
	shotML      float64
}

func newMarks(s *season, i int, engine *Zone) *marks {
	z := &s.zones[i]
	m := &marks{seed: s.seed, zone: i, settings: z.settings, byClock: z.controller.ByClock, hidden: !z.spec.TellsVolume && !z.spec.TellsValve, substrate: z.spec.Substrate.Name,
		start: s.start, days: s.days, illBy: map[string]int{}, cried: map[string]int{}, wasCried: map[string]bool{}}
	m.band.full, m.band.refill, m.band.dryback, m.band.drain = engine.ground.band.FullPoint, engine.ground.band.RefillPoint, engine.ground.band.OvernightDryback, engine.ground.band.DrainFraction
	m.band.saturated = engine.ground.saturated
	m.gauged = z.spec.DrainEvery > 0
	m.ill, m.wasIll = make([]int, len(z.settings.Probes)), make([]bool, len(z.settings.Probes))
	for _, p := range z.spec.Probes {
		if !slices.Contains(m.carriers, p.Container) {
			m.carriers = append(m.carriers, p.Container)
		}
	}
	return m
}

func (m *marks) gave(at time.Time, ml float64) {
	m.shots = append(m.shots, simulator.Shot{At: at, VolumeML: ml})
}

func (m *marks) sample(at time.Time) int { return int(at.Sub(m.start) / (5 * time.Minute)) }

// minute takes the truth every five minutes.
func (m *marks) minute(f *simulator.Facility, engine *Zone) {
	if last := engine.m.Cycle.LastShotMs; last > m.lastSeen {
		m.lastSeen = last
		m.seen = append(m.seen, time.UnixMilli(last).UTC())
	}
	m.minutes++
	if m.minutes%5 != 0 {
		return
	}
	t := f.Truth(m.zone)
	m.truth = append(m.truth, t.WaterContent)
	probed := 0.0
	for _, c := range m.carriers {
		probed += f.Content(m.zone, c) / float64(len(m.carriers))
	}
	m.probed = append(m.probed, probed)
	m.uptake = append(m.uptake, t.Uptake+t.Evaporated)
	m.drained = append(m.drained, t.Drained+t.Overflow)
	m.given = append(m.given, t.Given)
	m.wet = append(m.wet, f.SaturatedShare(m.zone, m.settings.Aeration.CriticalAirFilledPorosity) > m.settings.Aeration.ToleratedShare)
	est, sd, up, dr := math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if s := m.recent; s != nil && s.Known {
		est, sd, up, dr = s.WaterContent, s.WaterContentSD, s.UptakeML24h, s.DrainML24h
	}
	m.estimate, m.sd = append(m.estimate, est), append(m.sd, sd)
	m.uptake24, m.drain24 = append(m.uptake24, up), append(m.drain24, dr)
}

// state takes what the engine says of the zone.
func (m *marks) state(s *State) {
	m.recent = s
	for _, v := range []float64{s.WaterContent, s.WaterContentSD, s.UptakeML24h, s.DrainML24h, s.DrainFraction24h, s.AerationMargin, s.StabilityIndex, s.ApparentCapacity} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			m.infinite++
		}
	}
	if !s.Known {
		return
	}
	early := s.Time.Before(m.start.AddDate(0, 0, warmUp))
	for i, p := range s.Probes {
		ill := p.Seen && p.Health != "ok"
		if ill && !m.wasIll[i] && !early {
			m.ill[i]++
			m.illBy[p.Health]++
		}
		m.wasIll[i] = ill
	}
	now := map[string]bool{}
	for _, f := range s.Diagnosis {
		if f.Probability >= 0.5 && f.Cause != "weather-or-growth" {
			now[f.Cause] = true
			if !m.wasCried[f.Cause] && !early {
				m.cried[f.Cause]++
			}
		}
	}
	m.wasCried = now
}

func (m *marks) advised(a *advice.Advice) {
	if a.Setpoints == nil {
		m.inspects++
		return
	}
	m.asked++
	m.planned(a)
}

// forecast takes down what a forecast says at the horizons, and what the
// standing advice would give by then.
func (m *marks) forecast(f *Forecast, standing []issued) {
	at := m.sample(f.IssuedAt)
	if f.IssuedAt.Minute()%30 != 0 || f.IssuedAt.Second() != 0 || at < 0 {
		return
	}
	if n := len(m.forecasts); n > 0 && m.forecasts[n-1].at == at {
		return
	}
	k := forecastMark{at: at}
	for v, c := range []*Course{&f.Plan, &f.NoWater, &f.AsUsual} {
		for h, hours := range horizonHours {
			k.value[v][h], k.low[v][h], k.high[v][h] = c.WaterContent[hours*perHour], c.Low[hours*perHour], c.High[hours*perHour]
		}
	}
	for h, hours := range horizonHours {
		k.planned[h], k.underAdvice[h], k.shotML = plannedBetween(standing, f.IssuedAt, f.IssuedAt.Add(time.Duration(hours)*time.Hour))
	}
	m.forecasts = append(m.forecasts, k)
}

// balance takes the day-ahead score of the balance under the water that was
// really given, at every half hour, whether advice stood or not.
func (m *marks) balance(engine *Zone) {
	const day = forecast.HorizonCount - 1
	n := engine.m.Forecasts.Tallies[forecast.Given][day].Count
	if n == m.scored {
		return
	}
	m.scored = n
	if len(m.truth) < (warmUp+1)*perDay {
		return
	}
	for _, s := range engine.scratch.scored {
		if s.Variant == forecast.Given && s.Horizon == day {
			level, _, _ := engine.m.Learned.WaterContent()
			m.dayAhead, m.dayLevels = append(m.dayAhead, s), append(m.dayLevels, level)
		}
	}
}

// plannedBetween is what the standing advice gives by schedule from one time to
// another, whether advice stands all that while, and the size of its shot.
func plannedBetween(standing []issued, from, to time.Time) (ml float64, all bool, shot float64) {
	all = true
	for t := from; t.Before(to); {
		var a *issued
		for i := range standing {
			q := &standing[i]
			if (q.state == StateApproved || q.state == StatePending) && !t.Before(q.ValidFrom) && t.Before(q.ValidUntil) {
				a = q
			}
		}
		if a == nil {
			all = false
			t = t.Add(30 * time.Minute)
			continue
		}
		end := a.ValidUntil
		if end.After(to) {
			end = to
		}
		for _, s := range a.Setpoints.Schedule {
			if !s.At.Before(t) && s.At.Before(end) {
				ml += float64(s.VolumeML)
			}
		}
		shot = math.Max(shot, float64(a.Setpoints.ShotVolumeML))
		t = end
	}
	return ml, all, shot
}

// executed reports whether what was given up to a horizon is what was planned,
// within half a shot.
func (m *marks) executed(k *forecastMark, h int) bool {
	if !k.underAdvice[h] {
		return false
	}
	from := m.start.Add(time.Duration(k.at) * 5 * time.Minute)
	to := from.Add(time.Duration(horizonHours[h]) * time.Hour)
	given := 0.0
	for _, s := range m.shots {
		if !s.At.Before(from) && s.At.Before(to) {
			given += s.VolumeML
		}
	}
	return math.Abs(given-k.planned[h]) <= 0.5*math.Max(k.shotML, 1)
}

// finish works out the offset that no probe can tell of its own container: its
// median.
func (m *marks) finish() {
	var d []float64
	for i := warmUp * perDay; i < len(m.truth); i++ {
		if !math.IsNaN(m.estimate[i]) {
			d = append(d, m.estimate[i]-m.probed[i])
		}
	}
	m.offset = middle(d)
}

// middle is the median, NaN of nothing.
func middle(v []float64) float64 { return quantile(v, 0.5) }

func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s)
	return s[min(int(q*float64(len(s))), len(s)-1)]
}

func average(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
