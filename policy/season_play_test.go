package policy

import (
	"fmt"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
	"rhizostat/policy/simulator"
)

// player is one zone of a season at play: the engine, the person who approves,
// the controller, and what became of it all.
type player struct {
	zone       *seasonZone
	index      int
	engine     *Zone
	controller simulator.Controller
	wake       time.Time
	now        time.Time // of the engine
	stamps     []time.Time
	advice     []issued
	onTopic    string // id on the setpoint topic
	marks      *marks
}

// issued is an advice with what a person said of it.
type issued struct {
	*advice.Advice
	state   ApprovalState
	decides time.Time
}

// staging is a season under way.
type staging struct {
	f       *simulator.Facility
	players []*player
}

// stage sets a season up.
func stage(s season) (*staging, error) {
	var specs []simulator.ZoneSpec
	for i := range s.zones {
		specs = append(specs, s.zones[i].spec)
	}
	f, err := simulator.NewFacility(s.seed, s.weather, s.climate, specs, s.start)
	if err != nil {
		return nil, fmt.Errorf("season %d: %w", s.seed, err)
	}
	for _, x := range s.faults {
		f.Inject(x)
	}
	players := make([]*player, len(s.zones))
	for i := range players {
		z := &s.zones[i]
		engine, err := New(z.settings)
		if err != nil {
			return nil, fmt.Errorf("season %d: %w", s.seed, err)
		}
		players[i] = &player{zone: z, index: i, engine: engine, controller: z.controller, stamps: make([]time.Time, len(z.settings.Probes)), marks: newMarks(&s, i, engine)}
	}
	return &staging{f, players}, nil
}

// minute lets a minute pass for all.
func (y *staging) minute(each func(zone int, out *Output)) {
	f := y.f
	for i, p := range y.players {
		if v := p.controller.Due(f.Now()); v > 0 {
			f.Open(i, v)
			p.marks.gave(f.Now(), v)
		}
	}
	f.Advance(f.Now().Add(time.Minute))
	for _, m := range f.Measurements() {
		for i, p := range y.players {
			if m.Zone == i || m.Zone < 0 {
				p.take(&m, each)
			}
		}
	}
	for _, p := range y.players {
		p.until(f.Now(), each)
		p.people(f.Now(), each)
		p.topic(f.Now())
		p.marks.minute(f, p.engine)
	}
}

// playSeason plays a season and gives each zone's marks. each, if not nil, sees
// every output.
func playSeason(s season, each func(zone int, out *Output)) ([]*marks, error) {
	y, err := stage(s)
	if err != nil {
		return nil, err
	}
	for range s.days * 24 * 60 {
		y.minute(each)
	}
	var out []*marks
	for _, p := range y.players {
		p.marks.finish()
		out = append(out, p.marks)
	}
	return out, nil
}

// take turns a measurement into an event, as the shell does: doubled and
// overtaken stamps are dropped, a clock that is far off is said to be.
func (p *player) take(m *simulator.Measurement, each func(int, *Output)) {
	e := Event{Kind: Reading, At: m.Arrives, Stamp: m.At, Source: Climate}
	switch m.Source {
	case "climate":
	case "zone":
		e.Source = ZoneWide
	default:
		for i := range p.zone.settings.Probes {
			if p.zone.settings.Probes[i].ID == m.Source {
				e.Source = i
			}
		}
		if off := m.At.Sub(m.Arrives); off > 5*time.Minute || off < -time.Hour {
			e.Kind = Misdated
		} else if !m.At.After(p.stamps[e.Source]) {
			return
		} else {
			p.stamps[e.Source] = m.At
		}
	}
	for _, s := range m.Signals {
		if signal, ok := sensing.SignalByName(s.Name); ok {
			e.Values.Set(signal, s.Value)
		}
	}
	if p.zone.controller.OwnProbe != "" && m.Source == p.zone.controller.OwnProbe && m.Signals[0].Name == simulator.WaterContent {
		p.controller.HearProbe(m.Arrives, m.Signals[0].Value)
	}
	p.until(m.Arrives, each)
	p.step(e, each)
}

// until lets the engine wake up to a time.
func (p *player) until(to time.Time, each func(int, *Output)) {
	for !p.wake.IsZero() && !p.wake.After(to) {
		p.step(Event{Kind: Wake, At: p.wake}, each)
	}
}

func (p *player) step(e Event, each func(int, *Output)) {
	if e.At.Before(p.now) {
		e.At = p.now
	}
	p.now = e.At
	out := p.engine.Step(e)
	p.wake = out.NextWake
	if each != nil {
		each(p.index, &out)
	}
	if out.State != nil {
		p.controller.Hear(out.State.Time, out.State.WaterContent)
		p.marks.state(out.State)
	}
	if out.Forecast != nil {
		p.marks.forecast(out.Forecast, p.advice)
		p.marks.balance(p.engine)
	}
	if a := out.Advice; a != nil {
		p.marks.advised(a)
		if a.Setpoints != nil {
			for i := range p.advice { // one waits at a time
				if old := &p.advice[i]; old.state == StatePending {
					p.move(old, StateSuperseded, each)
				}
			}
			p.advice = append(p.advice, issued{a, StatePending, e.At.Add(p.zone.approve)})
			p.step(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: a.ID, State: StatePending}}, each)
		}
	}
}

func (p *player) move(a *issued, to ApprovalState, each func(int, *Output)) {
	a.state = to
	p.step(Event{Kind: Approved, At: p.now, Approval: &Approval{Advice: a.ID, State: to}}, each)
}

// people approves what has waited long enough, in time to be of use; what ran
// out expires.
func (p *player) people(now time.Time, each func(int, *Output)) {
	for i := range p.advice {
		a := &p.advice[i]
		switch {
		case a.state == StatePending && (!now.Before(a.decides) || !now.Before(a.DecideBy.Add(-2*time.Minute))):
			for j := range p.advice { // what it replaces on the same day
				if old := &p.advice[j]; j != i && old.state == StateApproved && old.ValidFrom.Before(a.ValidUntil) && a.ValidFrom.Before(old.ValidUntil) {
					p.move(old, StateSuperseded, each)
				}
			}
			p.move(&p.advice[i], StateApproved, each)
		case a.state == StateApproved && !now.Before(a.ValidUntil):
			p.move(a, StateExpired, each)
		}
	}
	if n := len(p.advice); n > 8 {
		p.advice = p.advice[n-8:]
	}
}

// topic keeps the setpoint topic: the newer approved advice takes it once the
// older one has no shot left, at the latest when it is valid itself.
func (p *player) topic(now time.Time) {
	var on *issued
	for i := range p.advice {
		a := &p.advice[i]
		if a.state != StateApproved || !now.Before(a.ValidUntil) {
			continue
		}
		if on == nil || !now.Before(a.ValidFrom) || now.After(on.Setpoints.LastShotBy) {
			on = a
		}
	}
	id := ""
	if on != nil {
		id = on.ID
	}
	if id == p.onTopic {
		return
	}
	p.onTopic = id
	p.controller.Put(obeyed(on), now)
}

// obeyed is an approved advice as its controller reads it.
func obeyed(a *issued) *simulator.Setpoints {
	if a == nil {
		return nil
	}
	s := a.Setpoints
	out := &simulator.Setpoints{
		Withhold: a.Action == advice.Withhold, ValidFrom: a.ValidFrom, ValidUntil: a.ValidUntil, FirstShotAt: s.FirstShotAt, LastShotBy: s.LastShotBy,
		Trigger: s.TriggerWaterContent, Target: s.TargetWaterContent, ShotVolumeML: float64(s.ShotVolumeML),
		MinInterval: time.Duration(s.MinIntervalS) * time.Second, MaxVolumeML: float64(s.MaxVolumeML),
	}
	for _, t := range s.TriggerByProbe {
		out.ProbeTriggers = append(out.ProbeTriggers, simulator.ProbeTrigger{Probe: t.Probe, WaterContent: t.WaterContent})
	}
	for _, shot := range s.Schedule {
		out.Schedule = append(out.Schedule, simulator.Shot{At: shot.At, VolumeML: float64(shot.VolumeML)})
	}
	return out
}
