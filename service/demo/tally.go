package demo

import (
	"fmt"
	"time"

	"rhizostat/policy/hydraulics"
	"rhizostat/policy/simulator"
	"rhizostat/service/wire"
)

// critical and tolerated are the demo site's aeration: its defaults.
const (
	critical  = 0.10 // m3/m3
	tolerated = 0.5  // of the root volume
)

// tally measures one zone by its truth, which the daemon never sees.
type tally struct {
	full, refill    float64
	minutes, inBand int // of daytime
	below, above    int
	saturated       int // minutes
	peak, trough    float64
	falling         bool
	drybacks        []float64
	begun           bool
	given, drained  float64 // mL per container, at the start of the measured time
	days            float64
	givenL, drainL  float64 // L per container and day
}

func newTally(*simulator.ZoneSpec) tally { return tally{} }

// judge sets the band that a zone is measured against.
func (t *tally) judge(b hydraulics.Band) { t.full, t.refill = b.FullPoint, b.RefillPoint }

// settling is the time at the start that is not measured: the pots come as
// they are, and nobody has decided on anything yet.
const settling = 24 * time.Hour

// margin is how far outside the band still counts as in it: what no probe can
// tell, m3/m3.
const margin = 0.005

// add measures the minute that ended at now.
func (t *tally) add(f *simulator.Facility, zone int, now time.Time) {
	if now.Sub(start) <= settling || t.full == 0 {
		return
	}
	truth := f.Truth(zone)
	t.water(truth.Given, truth.Drained)
	t.turn(truth.WaterContent)
	if f.SaturatedShare(zone, critical) > tolerated {
		t.saturated++
	}
	local := now.Add(offset)
	if h := local.Hour(); h < 6 || h >= 20 {
		return
	}
	t.minutes++
	switch {
	case truth.WaterContent < t.refill-margin:
		t.below++
	case truth.WaterContent > t.full+margin:
		t.above++
	default:
		t.inBand++
	}
}

// water follows what is given and what drains.
func (t *tally) water(given, drained float64) {
	if !t.begun {
		t.begun, t.given, t.drained = true, given, drained
	}
	if t.days += 1.0 / (24 * 60); t.days > 0 {
		t.givenL, t.drainL = (given-t.given)/1000/t.days, (drained-t.drained)/1000/t.days
	}
}

// turn follows peaks and troughs at least turnBy deep.
func (t *tally) turn(w float64) {
	const turnBy = 0.015
	switch {
	case t.peak == 0:
		t.peak, t.trough = w, w
	case t.falling:
		if w < t.trough {
			t.trough = w
		} else if w > t.trough+turnBy {
			t.drybacks = append(t.drybacks, t.peak-t.trough)
			t.falling, t.peak = false, w
		}
	default:
		if w > t.peak {
			t.peak = w
		} else if w < t.peak-turnBy {
			t.falling, t.trough = true, w
		}
	}
}

// Outcome is how a zone fared over the measured time.
type Outcome struct {
	Zone         string
	InBand       float64 // share of daytime
	Below, Above float64 // share of daytime
	SaturatedH   float64
	Drybacks     int
	MeanDryback  float64 // m3/m3
	GivenL       float64 // L per container and day
	DrainL       float64 // L per container and day
	Troubled     bool
}

func (t *tally) outcome(zone string, isTroubled bool) Outcome {
	o := Outcome{Zone: zone, SaturatedH: float64(t.saturated) / 60, Drybacks: len(t.drybacks), Troubled: isTroubled, GivenL: t.givenL, DrainL: t.drainL}
	if t.minutes > 0 {
		n := float64(t.minutes)
		o.InBand, o.Below, o.Above = float64(t.inBand)/n, float64(t.below)/n, float64(t.above)/n
	}
	for _, d := range t.drybacks {
		o.MeanDryback += d / float64(len(t.drybacks))
	}
	return o
}

// Bands sets the bands that the zones are measured against, by zone id.
func (f *Facility) Bands(of func(zone string) hydraulics.Band) {
	for i := range f.tally {
		f.tally[i].judge(of(f.specs[i].Name))
	}
}

// Outcomes are how the zones fared.
func (f *Facility) Outcomes() []Outcome {
	out := make([]Outcome, len(f.tally))
	for i := range f.tally {
		out[i] = f.tally[i].outcome(f.specs[i].Name, i == troubled)
	}
	return out
}

// Violations is how many setpoints were seen that nobody had approved.
func (f *Facility) Violations() int { return f.violations }

// TimerAlone plays the same days, weather and plants with the controllers on
// their timers and no daemon.
func TimerAlone(o Options, of func(zone string) hydraulics.Band) ([]Outcome, error) {
	truth, err := facility(o.Seed)
	if err != nil {
		return nil, fmt.Errorf("demo: %w", err)
	}
	specs := zones()
	tallies := make([]tally, len(specs))
	controllers := make([]simulator.Controller, len(specs))
	for i := range specs {
		tallies[i].judge(of(specs[i].Name))
		controllers[i].Timer = localTimer(i)
	}
	for n := 1; time.Duration(n)*time.Minute <= o.For; n++ {
		for i := range controllers {
			if ml := controllers[i].Due(truth.Now()); ml > 0 {
				truth.Open(i, ml)
			}
		}
		now := start.Add(time.Duration(n) * time.Minute)
		truth.Advance(now)
		truth.Measurements()
		for i := range tallies {
			tallies[i].add(truth, i, now)
		}
	}
	out := make([]Outcome, len(specs))
	for i := range tallies {
		out[i] = tallies[i].outcome(specs[i].Name, i == troubled)
	}
	return out, nil
}

// Row is a zone as a person at the screen sees it.
type Row struct {
	Zone     string
	State    *wire.State
	Advice   *wire.Advice
	Setpoint *wire.Setpoint
}

// Rows are the zones as the daemon sees them now.
func (f *Facility) Rows() []Row {
	f.mu.Lock()
	defer f.mu.Unlock()
	out := make([]Row, len(f.specs))
	for i := range f.specs {
		out[i] = Row{f.specs[i].Name, f.states[i], f.advice[i], f.setpoint[i]}
	}
	return out
}
