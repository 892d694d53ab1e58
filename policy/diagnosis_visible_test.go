package policy

import (
	"fmt"
	"math"
	"slices"
	"time"

	"rhizostat/policy/simulator"
)

// diary is what a zone's instruments said in one world, by hour from the start, and
// what was said to be wrong.
type diary struct {
	start    time.Time
	readings map[string][]hourly // by source and signal
	given    []float64           // mL per container
	drained  []float64
	sayings  []saying
}

// hourly is the readings of an hour.
type hourly struct{ sum, n, low, high float64 }

// flat tells an hour of which every reading says the very same.
func (h hourly) flat() bool { return h.n >= 3 && h.low == h.high }

func (h hourly) mean() float64 { return h.sum / h.n }

// saying is a state's leading cause.
type saying struct {
	at       time.Time
	cause    string
	p        float64
	evidence string
	poreEC   float64 // true
	wet      bool    // saturated in truth
}

func newDiary(start time.Time, days int) *diary {
	return &diary{start: start, readings: map[string][]hourly{}, given: make([]float64, days*24+1), drained: make([]float64, days*24+1)}
}

func (d *diary) hour(at time.Time) int { return int(at.Sub(d.start) / time.Hour) }

func (d *diary) gave(at time.Time, ml float64) { d.given[d.hour(at)] += ml }

func (d *diary) heard(m *simulator.Measurement) {
	h := d.hour(m.At)
	if h < 0 || h >= len(d.given) {
		return
	}
	for _, s := range m.Signals {
		switch s.Name {
		case simulator.IrrigationVolume, simulator.IrrigationTotal, simulator.ValveOpen, simulator.FeedEC, simulator.DrainTotal:
		case simulator.DrainVolume:
			d.drained[h] += s.Value
		default:
			key := m.Source + " " + s.Name
			if d.readings[key] == nil {
				d.readings[key] = make([]hourly, len(d.given))
			}
			r := &d.readings[key][h]
			if r.n == 0 {
				r.low, r.high = s.Value, s.Value
			}
			r.sum, r.n = r.sum+s.Value, r.n+1
			r.low, r.high = math.Min(r.low, s.Value), math.Max(r.high, s.Value)
		}
	}
}

func (d *diary) state(st *State, poreEC float64, wet bool) {
	s := saying{at: st.Time, poreEC: poreEC, wet: wet}
	if s.cause, s.p = lead(st); s.cause != "" {
		s.evidence = fmt.Sprint(st.Diagnosis[0].Evidence)
	}
	d.sayings = append(d.sayings, s)
}

// attend plays a ward in two worlds that share every chance: with its faults, and
// without any but the weather's. From the sound one come the false alarms, and from
// both when each fault became visible.
func attend(seed uint64) ([]patient, error) {
	var worlds [2][]*diary
	var ps []patient
	for w := range worlds {
		var s season
		s, ps = drawWard(seed, 4, 22, 12)
		if w == 1 {
			s.faults = slices.DeleteFunc(s.faults, func(f simulator.Fault) bool { return f.Kind != simulator.HotSpell })
		}
		for range s.zones {
			worlds[w] = append(worlds[w], newDiary(s.start, s.days))
		}
		if err := nurse(s, func(zone int) bool { return ps[zone].asleep }, worlds[w]); err != nil {
			return nil, err
		}
		if w == 0 {
			continue
		}
		for i := range ps {
			p := &ps[i]
			ill, sound := worlds[0][i], worlds[1][i]
			p.find(ill, sound, s.zones[i].spec.Probes)
			p.judge(ill)
			p.quiet(sound)
		}
	}
	return ps, nil
}

// telling is how far apart two hours of a reading must be for instruments to tell
// them apart, besides what the readings do from day to day: their own noise and
// resolution as standard deviation.
func telling(key string, probes []simulator.Probe) float64 {
	for _, p := range probes {
		switch key {
		case p.ID + " " + simulator.WaterContent:
			return math.Hypot(p.Noise, p.Resolution/math.Sqrt(12))
		case p.ID + " " + simulator.Permittivity: // told beside the water content, 80 for all of it
			return math.Hypot(0.005, 60*p.Noise)
		case p.ID + " " + simulator.ContainerWeight:
			return math.Hypot(0.001, p.Noise*p.WeighsFromKG*4)
		}
	}
	switch {
	case hasSuffix(key, simulator.SubstrateTemperature):
		return 0.1
	case hasSuffix(key, simulator.BulkEC):
		return 0.02
	}
	return 0.05 // drain EC, mS/cm
}

func hasSuffix(key, signal string) bool {
	return len(key) > len(signal) && key[len(key)-len(signal)-1:] == " "+signal
}

// usualDays is how many days make what is usual.
const usualDays = 7

// find says when the fault became visible. The world is played with the fault and
// without it, and what the instruments say is held side by side: hourly means of every
// probe's readings and of drain EC, and whether readings come and differ at all; and over 24 hours, each probe's rises per mL given,
// the share that drains, and what was given, since advice that copes with a fault hides
// it everywhere else. Two hours differ when they are further apart than
// three times what the instrument errs by and what the same hour of the sound zone
// strays by from day to day: nobody has the sound world beside them, so that what
// moves less than ordinary days do is in nobody's data. It is visible from
// the first hour of the first half day of which half the hours differ. strict is the
// same without the days: what could be told if the sound world were known.
func (p *patient) find(ill, sound *diary, probes []simulator.Probe) {
	if p.ailment.kind == 0 {
		return
	}
	if p.ailment.kind == simulator.HotSpell { // both worlds have it
		p.seen, p.from, p.strict = true, p.began.Add(p.ailment.onset/2), p.began
		return
	}
	first := ill.hour(p.began)
	n := len(ill.given) - 1
	differs, strictly := make([]bool, n), make([]bool, n)
	note := func(h int, apart, instrument, days float64) {
		differs[h] = differs[h] || apart > 3*math.Hypot(instrument, days)
		strictly[h] = strictly[h] || apart > 3*instrument
	}
	for key, a := range ill.readings {
		b := sound.readings[key]
		if b == nil {
			continue
		}
		sd := telling(key, probes)
		for h := first; h < n; h++ {
			days := strays(func(k int) (float64, bool) { return b[k].mean(), b[k].n > 0 }, h)
			switch {
			case a[h].flat() && b[h].n >= 3 && !b[h].flat():
				note(h, math.Inf(1), sd, 0) // it is stuck
			case a[h].n > 0 && b[h].n > 0:
				note(h, math.Abs(a[h].mean()-b[h].mean()), sd, days)
			case b[h].n > 0 && !hasSuffix(key, simulator.DrainEC):
				note(h, math.Inf(1), sd, 0) // it has fallen silent
			}
		}
	}
	for _, q := range dailies(ill, sound, probes) {
		for h := first; h < n; h++ {
			x, ok1 := q.of(ill, h)
			y, ok2 := q.of(sound, h)
			if ok1 && ok2 {
				note(h, math.Abs(x-y), q.sd(sound, h), strays(func(k int) (float64, bool) { return q.of(sound, k) }, h))
			}
		}
	}
	if h := spell(differs, first); h >= 0 {
		p.seen, p.from = true, later(p.began, ill.start.Add(time.Duration(h)*time.Hour))
	}
	if h := spell(strictly, first); h >= 0 {
		p.strict = later(p.began, ill.start.Add(time.Duration(h)*time.Hour))
	}
}

// sureness is how surely a state named its leading cause, after the truth was visible, and
// whether it was the true one.
type sureness struct {
	cause string
	p     float64
	right bool
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// spell is the first hour of the first 12 of which 6 are marked and that begins with one.
func spell(marked []bool, from int) int {
	for h := from; h < len(marked); h++ {
		n := 0
		for k := h; k < min(h+12, len(marked)) && marked[h]; k++ {
			if marked[k] {
				n++
			}
		}
		if n >= 6 {
			return h
		}
	}
	return -1
}

// strays is the standard deviation of a quantity at one hour of the day over the days
// up to h.
func strays(of func(h int) (float64, bool), h int) float64 {
	sum, squares, n := 0.0, 0.0, 0.0
	for k := h; k > h-usualDays*24 && k >= 0; k -= 24 {
		if v, ok := of(k); ok {
			sum, squares, n = sum+v, squares+v*v, n+1
		}
	}
	if n < 3 {
		return math.Inf(1)
	}
	return math.Sqrt(math.Max(squares/n-sum/n*sum/n, 0) * n / (n - 1))
}

// daily is a quantity of the 24 hours up to the end of an hour.
type daily struct {
	of func(d *diary, h int) (float64, bool)
	sd func(d *diary, h int) float64 // what its instruments err by
}

func dailies(ill, sound *diary, probes []simulator.Probe) []daily {
	sum := func(of []float64, h int) float64 {
		s := 0.0
		for k := max(h-23, 0); k <= h; k++ {
			s += of[k]
		}
		return s
	}
	given := daily{
		of: func(d *diary, h int) (float64, bool) { return sum(d.given, h), true },
		sd: func(d *diary, h int) float64 { return 0.02 * math.Max(sum(d.given, h), 1) }, // a meter's
	}
	out := []daily{given}
	if slices.Max(ill.drained) > 0 || slices.Max(sound.drained) > 0 {
		out = append(out, daily{
			of: func(d *diary, h int) (float64, bool) {
				g := sum(d.given, h)
				return sum(d.drained, h) / math.Max(g, 1), g > 0
			},
			sd: func(*diary, int) float64 { return 0.02 },
		})
	}
	for _, p := range probes {
		key := p.ID + " " + simulator.WaterContent
		if sound.readings[key] == nil {
			continue
		}
		one := telling(key, probes)
		out = append(out, daily{
			of: func(d *diary, h int) (float64, bool) {
				rise, ok := risen(d.readings[key], h)
				g := sum(d.given, h)
				return rise / math.Max(g, 1), ok && g > 0
			},
			sd: func(d *diary, h int) float64 { return 4 * one / math.Max(sum(d.given, h), 1) },
		})
	}
	return out
}

// risen is by how much hourly means rose in 24 hours, all rises added.
func risen(r []hourly, h int) (float64, bool) {
	if h < 24 || r == nil {
		return 0, false
	}
	sum, n := 0.0, 0
	last := math.NaN()
	for k := h - 24; k <= h; k++ {
		if r[k].n == 0 {
			continue
		}
		if v := r[k].mean(); v > last {
			sum += v - last
			last = v
		} else {
			last = v
		}
		n++
	}
	return sum, n >= 20
}

// judge holds what was said in the world with the fault against when it was visible.
func (p *patient) judge(d *diary) {
	for _, s := range d.sayings {
		if p.ailment.kind == 0 || s.at.Before(p.began) {
			continue
		}
		since := s.at.Sub(p.from)
		if !p.seen {
			since = s.at.Sub(p.began)
		}
		if _, ok := p.first[s.cause]; !ok && s.cause != "" {
			p.first[s.cause] = since
		}
		if p.right < 0 && s.cause == p.ailment.cause {
			p.right = max(since, 0)
		}
		if p.seen && since <= p.ailment.within {
			p.led, p.ledP = s.cause, s.p
		}
		if p.seen && since >= 0 && s.cause != "" && p.ailment.cause != "" {
			p.sure = append(p.sure, sureness{s.cause, s.p, s.cause == p.ailment.cause})
		}
	}
}

// quiet counts what was cried in the sound world. Salt that did build up by itself, in
// a zone that drains little, is no false alarm, nor is saturation of a zone that was in
// truth saturated for most of the last two days; weather and growth need no remedy; and
// one spell is one alarm.
func (p *patient) quiet(d *diary) {
	crying := false
	var ecs []float64
	for i, s := range d.sayings {
		p.quietDays += 0.5 / 24
		ecs = append(ecs, s.poreEC)
		wet := 0
		recent := d.sayings[max(0, i+1-2*48) : i+1]
		for _, r := range recent {
			if r.wet {
				wet++
			}
		}
		stood := 2*wet > len(recent)
		salted := s.poreEC > 1.25*slices.Min(ecs[max(0, len(ecs)-10*48):])
		wrong := s.cause != "" && s.cause != "weather-or-growth" && !(s.cause == "salt-build-up" && salted) &&
			!(s.cause == "oversaturation" && stood)
		if wrong && !crying {
			p.alarms = append(p.alarms, fmt.Sprintf("%.1f %s %s", s.at.Sub(p.began).Hours()/24, s.cause, s.evidence))
		}
		crying = wrong || crying && s.cause != ""
	}
}
