package policy

import (
	"fmt"
	"math"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/forecast"
	"rhizostat/policy/hydraulics"
	"rhizostat/policy/learning"
	"rhizostat/policy/plan"
)

// Zone is the engine of one zone.
type Zone struct {
	settings *Settings
	ground   *ground // its own; within the zone it would be beyond a size that memory is given in
	m        memory
	probes   []probeMemory // as Settings.Probes
	plans    []planned     // at most maxPlans, in order of issue
	today    today
	scratch  *Scratch
}

// ground is what the physics makes of the zone's pot; a transplant changes it.
type ground struct {
	container *hydraulics.Container // the settings', unless the roots got another one
	substrate *hydraulics.Substrate // likewise
	profile   *hydraulics.Profile
	tables    []*hydraulics.ProbeTable // as Settings.Probes; nil where a probe does not read its place in the profile
	band      hydraulics.Band
	bandStage int // of Settings.Stages, -1 for the zone's own
	constants learning.Constants
	limits    plan.Limits // the site's, for this container
	aerated   hydraulics.Aerated
	misfit    bool    // the container cannot hold the band that the site asks for
	saturated float64 // mean water content above which the zone is saturated, m3/m3
}

// New makes the engine of a zone that knows nothing yet. The error says what of
// the settings cannot be.
func New(s Settings) (*Zone, error) { return NewShared(&s, Shared{}) }

// NewShared is New for one zone of many: it keeps the settings, which must not change
// any more, and what it has in common with others.
func NewShared(s *Settings, with Shared) (*Zone, error) {
	if len(s.Probes) > MaxProbes {
		return nil, fmt.Errorf("zone %s: %d probes; at most %d are read", s.Zone, len(s.Probes), MaxProbes)
	}
	if s.Location == nil {
		return nil, fmt.Errorf("zone %s: no time zone; expected the site's", s.Zone)
	}
	z := &Zone{settings: s, probes: make([]probeMemory, len(s.Probes))}
	for i := range s.Probes {
		z.probes[i].HeightCM = s.Probes[i].HeightCM
	}
	if z.scratch = with.Scratch; z.scratch == nil {
		z.scratch = new(Scratch)
	}
	if err := z.stand(s.Container, s.Substrate, with.shelf()); err != nil {
		return nil, err
	}
	return z, nil
}

// stand works out the physics of a pot.
func (z *Zone) stand(c hydraulics.Container, sub hydraulics.Substrate, shelf *hydraulics.Shelf) error {
	profile, err := shelf.Profile(sub, c)
	if err != nil {
		return fmt.Errorf("zone %s: %w", z.settings.Zone, err)
	}
	g := &ground{container: &z.settings.Container, substrate: &z.settings.Substrate, profile: profile, bandStage: -1}
	if c != *g.container {
		g.container = new(c)
	}
	if sub != *g.substrate {
		g.substrate = new(sub)
	}
	for i := range z.settings.Probes {
		height, length := fit(z.probes[i].HeightCM, z.settings.Probes[i].SensingLengthCM, c.HeightCM)
		table, err := shelf.Probe(profile, height, length)
		if err != nil {
			return fmt.Errorf("zone %s: probe %s: %w", z.settings.Zone, z.settings.Probes[i].ID, err)
		}
		g.tables = append(g.tables, table)
	}
	band, err := hydraulics.NewBand(profile, z.settings.Band)
	if err != nil && (c != z.settings.Container || sub != z.settings.Substrate) {
		// plain numbers that were told for another container: what the physics
		// allows in this one holds until the site says its own
		band, err = hydraulics.NewBand(profile, hydraulics.BandSpec{
			OvernightDryback: z.settings.Band.OvernightDryback, DrainFraction: z.settings.Band.DrainFraction,
		})
		g.misfit = true
	}
	if err != nil {
		return fmt.Errorf("zone %s: %w", z.settings.Zone, err)
	}
	g.band = band
	g.limits = z.settings.Limits.For(profile)
	g.aerated = profile.Aerate(z.settings.Aeration)
	g.saturated = g.aerated.SaturationPoint()
	g.constants = learning.Constants{
		VolumeML: profile.VolumeML(), DesignCapacity: profile.ContainerCapacity(),
		MinMean: profile.MinMean(), StressMean: profile.MeanAtSuction(stressSuctionKPa), MaxMean: profile.MaxMean(),
	}
	z.ground = g
	return nil
}

// fit puts a probe inside the fill of a container that may be lower than the one
// it was told for, cm.
func fit(height, length, fill float64) (float64, float64) {
	length = math.Min(length, fill)
	return math.Min(math.Max(height, length/2), fill-length/2), length
}

// stressSuctionKPa is the suction above which a container crop is taken to
// drink less: the end of the water that counts as buffer, 10 kPa (de Boodt &
// Verdonck 1972; from memory).
const stressSuctionKPa = 10

// Step lets one event happen to the zone. Events come in time order; At going
// back is a broken promise of the shell and panics.
func (z *Zone) Step(e Event) Output {
	at := e.At.UnixMilli()
	if at < z.m.NowMs {
		panic(fmt.Sprintf("zone %s: event at %d ms after one at %d ms: time went back", z.settings.Zone, at, z.m.NowMs))
	}
	z.scratch.out = Output{}
	z.elapse(at)
	switch e.Kind {
	case Reading:
		z.read(&e, at)
	case Operator:
		z.operate(e.Operator, at)
	case Approved:
		z.approved(e.Approval, at)
	case Unrecorded:
		z.unrecorded(at)
	case Misdated:
		z.misdated(e.Source, at)
	}
	z.due(at)
	out := z.scratch.out
	z.scratch.out = Output{} // what it refers to is the caller's
	out.NextWake = z.nextWake(at)
	return out
}

// elapse lets time pass since the last event.
func (z *Zone) elapse(at int64) {
	if z.m.NowMs == 0 {
		z.m.NowMs = at
		z.m.Cycle.StateMs = every(at, z.settings.StateEvery)
		z.m.Cycle.ForecastMs = every(at, forecast.IssueEvery*time.Millisecond)
	}
	z.setDay(at)
	z.m.Learned.Advance(&z.ground.constants, at)
	z.count(at)
	z.m.NowMs = at
}

// setDay follows the irrigation day: what the learning takes for daytime, and
// the band of the stage that has come.
func (z *Zone) setDay(at int64) {
	if !z.followDay(at) {
		z.askForBand(at, advice.InspectStage(z.settings.Stages[z.ground.bandStage].Name))
	}
}

// followDay is setDay without a word: false where a stage has begun whose band the
// container cannot hold.
func (z *Zone) followDay(at int64) bool {
	if z.today.known && at < z.today.endMs && at >= z.today.fromMs {
		return true
	}
	day := z.settings.DayAt(instant(at))
	z.today.day = day
	z.today.known, z.today.fromMs, z.today.endMs = true, day.Start.UnixMilli(), day.Next.UnixMilli()
	z.ground.constants.DayStartS = secondOfDay(day.Start)
	z.ground.constants.DayEndS = secondOfDay(day.DaytimeEnd)
	return z.setStage(day.Start)
}

func secondOfDay(t time.Time) int32 {
	u := t.UTC()
	return int32(u.Hour()*3600 + u.Minute()*60 + u.Second())
}

// setStage takes the band of the latest stage that has begun. A stage whose
// band the container cannot hold was refused with the site file; after a
// transplant it may be one that the new container cannot hold: then the zone keeps
// the band it has, and false is returned.
func (z *Zone) setStage(dayStart time.Time) bool {
	band, fits := z.bandOf(dayStart)
	z.ground.band, z.ground.bandStage = band, z.stageOf(dayStart)
	return fits || z.ground.bandStage < 0
}

// stageOf is the stage of an irrigation day, an index into Settings.Stages; -1
// for the zone's own band.
func (z *Zone) stageOf(dayStart time.Time) int {
	stage := -1
	for i := range z.settings.Stages {
		if !z.settings.Stages[i].From.After(dayStart.Add(12 * time.Hour)) {
			stage = i
		}
	}
	return stage
}

// bandOf is the band of an irrigation day: the plan of the evening is for a day
// that may be the first of its stage. False where the container cannot hold the one
// that was asked for.
func (z *Zone) bandOf(dayStart time.Time) (hydraulics.Band, bool) {
	stage := z.stageOf(dayStart)
	if stage == z.ground.bandStage {
		return z.ground.band, true
	}
	if band, err := hydraulics.NewBand(z.ground.profile, *z.specOf(stage)); err == nil {
		return band, true
	}
	return z.ground.band, false
}

// specOf is the band as asked for in a stage.
func (z *Zone) specOf(stage int) *hydraulics.BandSpec {
	if stage >= 0 {
		return &z.settings.Stages[stage].Band
	}
	return &z.settings.Band
}

func instant(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}
