package demo

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"time"

	"rhizostat/policy/simulator"
	"rhizostat/service/wire"
)

// Options of a demo.
type Options struct {
	Root    string        // topic root
	Seed    uint64        // of weather, plants and probes
	Speed   float64       // simulated over real time; 0: as fast as it goes
	For     time.Duration // simulated time; 0: until ctx ends
	Approve bool          // play the approver
	ByClock bool          // the controllers run the schedule instead of the trigger
}

// ahead is how far the simulated facility runs ahead of what the daemon has
// published: readings wait two minutes to be put in order.
const ahead = 4 * time.Minute

// patience is how long the facility waits for the daemon before it says so.
const patience = time.Minute

// Facility is the simulated facility on its topics.
type Facility struct {
	options Options
	topics  wire.Topics
	broker  *Broker
	truth   *simulator.Facility
	specs   []simulator.ZoneSpec
	tally   []tally

	mu          sync.Mutex
	controllers []*simulator.Controller
	states      []*wire.State
	advice      []*wire.Advice
	setpoint    []*wire.Setpoint
	decisions   []decision // to be sent when their time has come
	failed      error
	news        chan struct{}
	violations  int // setpoints that were never approved
	approved    map[string]bool
}

// decision is what the played approver will say.
type decision struct {
	at   time.Time
	zone int
	body []byte
	id   string
}

// NewFacility puts a facility on a broker. Nothing moves before Run.
func NewFacility(o Options, b *Broker) (*Facility, error) {
	truth, err := facility(o.Seed)
	if err != nil {
		return nil, fmt.Errorf("demo: %w", err)
	}
	f := &Facility{
		options: o, topics: wire.Topics{Root: o.Root, Site: Site}, broker: b, truth: truth, specs: zones(),
		news: make(chan struct{}, 1), approved: map[string]bool{},
	}
	for i := range f.specs {
		f.controllers = append(f.controllers, &simulator.Controller{Timer: localTimer(i), ByClock: o.ByClock, DailyML: 8000})
		f.states = append(f.states, nil)
		f.advice = append(f.advice, nil)
		f.setpoint = append(f.setpoint, nil)
		f.tally = append(f.tally, newTally(&f.specs[i]))
	}
	for _, filter := range []string{f.topics.State("+"), f.topics.Advice("+"), f.topics.Setpoint("+"), f.topics.DecisionResult("+")} {
		if err := b.Subscribe(filter, f.hear); err != nil {
			return nil, fmt.Errorf("demo: %w", err)
		}
	}
	return f, nil
}

func localTimer(i int) simulator.Timer {
	t := timers[i]
	t.Offset = offset
	return t
}

// hear takes what the daemon publishes.
func (f *Facility) hear(topic string, payload []byte) {
	p, ok := wire.Parse(f.options.Root, topic)
	if !ok {
		return
	}
	zone := f.index(p.Zone)
	if zone < 0 {
		return
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	var err error
	switch p.Kind {
	case wire.KindState:
		err = f.hearState(zone, payload)
	case wire.KindAdvice:
		err = f.hearAdvice(zone, payload)
	case wire.KindSetpoint:
		err = f.hearSetpoint(zone, payload)
	case wire.KindDecisionResult:
		var r wire.Result
		if r, err = wire.ParseResult(payload); err == nil && r.Result == wire.Accepted && r.Decision == wire.Approve {
			f.approved[r.Advice] = true
		}
	}
	if err != nil && f.failed == nil {
		f.failed = fmt.Errorf("demo: %s: %w", topic, err)
	}
	select {
	case f.news <- struct{}{}:
	default: // there is news already
	}
}

func (f *Facility) index(zone string) int {
	for i := range f.specs {
		if f.specs[i].Name == zone {
			return i
		}
	}
	return -1
}

func (f *Facility) hearState(zone int, payload []byte) error {
	s, err := wire.ParseState(payload)
	if err != nil {
		return err
	}
	f.states[zone] = s
	if s.WaterContent != nil {
		f.controllers[zone].Hear(s.Time, *s.WaterContent)
	}
	return nil
}

func (f *Facility) hearAdvice(zone int, payload []byte) error {
	if len(payload) == 0 {
		f.advice[zone] = nil
		return nil
	}
	a, err := wire.ParseAdvice(payload)
	if err != nil {
		return err
	}
	f.advice[zone] = a
	if !f.options.Approve || a.Approval.State != "pending" {
		return nil
	}
	body, err := json.Marshal(map[string]string{
		"advice": a.ID, "digest": a.Approval.Digest, "decision": "approve", "by": "demo approver", "note": "played by the demo",
	})
	if err != nil {
		return err
	}
	// a person needs a few minutes to read it
	f.decisions = append(f.decisions, decision{at: a.IssuedAt.Add(10 * time.Minute), zone: zone, body: body, id: a.ID})
	return nil
}

func (f *Facility) hearSetpoint(zone int, payload []byte) error {
	c := f.controllers[zone]
	if len(payload) == 0 {
		f.setpoint[zone] = nil
		c.Put(nil, f.truth.Now())
		return nil
	}
	s, err := wire.ParseSetpoint(payload)
	if err != nil {
		return err
	}
	if f.options.Approve && !f.approved[s.Advice] {
		// the answer to the decision comes on another topic, maybe later
		f.decisions = append(f.decisions, decision{at: f.truth.Now().Add(time.Hour), zone: zone, id: s.Advice})
	}
	f.setpoint[zone] = s
	c.Put(obey(s), f.truth.Now())
	return nil
}

// obey gives a controller the numbers it follows.
func obey(s *wire.Setpoint) *simulator.Setpoints {
	p := s.Setpoints
	out := &simulator.Setpoints{
		Withhold: s.Action == "withhold", ValidFrom: s.ValidFrom, ValidUntil: s.ValidUntil,
		FirstShotAt: p.FirstShotAt, LastShotBy: p.LastShotBy, Trigger: p.TriggerWaterContent, Target: p.TargetWaterContent,
		ShotVolumeML: float64(p.ShotVolumeML), MinInterval: time.Duration(p.MinIntervalS) * time.Second, MaxVolumeML: float64(p.MaxVolumeML),
	}
	for _, t := range p.TriggerByProbe {
		out.ProbeTriggers = append(out.ProbeTriggers, simulator.ProbeTrigger{Probe: t.Probe, WaterContent: t.Value})
	}
	for _, shot := range p.Schedule {
		out.Schedule = append(out.Schedule, simulator.Shot{At: shot.At, VolumeML: float64(shot.VolumeML)})
	}
	return out
}

// Run plays the facility, minute by minute, and calls each after every
// simulated minute.
func (f *Facility) Run(ctx context.Context, each func(now time.Time)) error {
	began := time.Now()
	for n := 1; f.options.For == 0 || time.Duration(n)*time.Minute <= f.options.For; n++ {
		now := start.Add(time.Duration(n) * time.Minute)
		if err := f.minute(now); err != nil {
			return err
		}
		each(now)
		if err := f.keepPace(ctx, began, now); err != nil {
			return err
		}
	}
	return nil
}

// minute waters, lets a minute pass, and publishes what the devices say.
func (f *Facility) minute(now time.Time) error {
	f.mu.Lock()
	for i, c := range f.controllers {
		if ml := c.Due(f.truth.Now()); ml > 0 {
			f.truth.Open(i, ml)
		}
	}
	f.truth.Advance(now)
	said := f.truth.Measurements()
	due := f.dueDecisions(now)
	failed := f.failed
	f.mu.Unlock()
	if failed != nil {
		return failed
	}
	for i := range said {
		if err := f.tell(&said[i]); err != nil {
			return err
		}
	}
	for _, d := range due {
		if err := f.broker.Publish(f.topics.Decision(f.specs[d.zone].Name), d.body, false); err != nil {
			return fmt.Errorf("demo: %w", err)
		}
	}
	for i := range f.tally {
		f.tally[i].add(f.truth, i, now)
	}
	return nil
}

// dueDecisions takes the decisions whose time has come; one without a body asks
// whether a setpoint that was seen an hour ago had been approved.
func (f *Facility) dueDecisions(now time.Time) []decision {
	var due, later []decision
	for _, d := range f.decisions {
		switch {
		case d.at.After(now):
			later = append(later, d)
		case d.body != nil:
			due = append(due, d)
		case !f.approved[d.id]:
			f.violations++
		}
	}
	f.decisions = later
	return due
}

// tell publishes a measurement as one flat object.
func (f *Facility) tell(m *simulator.Measurement) error {
	zone := "house"
	if m.Zone >= 0 {
		zone = f.specs[m.Zone].Name
	}
	var b strings.Builder
	fmt.Fprintf(&b, `{"time":%q`, m.At.Format(time.RFC3339))
	for _, s := range m.Signals {
		fmt.Fprintf(&b, `,%q:%g`, s.Name, s.Value)
	}
	b.WriteByte('}')
	if err := f.broker.Publish(f.topics.Telemetry(zone, m.Source), []byte(b.String()), false); err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	return nil
}

// keepPace waits for the clock of the chosen speed, and for a daemon that has
// fallen behind.
func (f *Facility) keepPace(ctx context.Context, began, now time.Time) error {
	if f.options.Speed > 0 {
		due := began.Add(time.Duration(float64(now.Sub(start)) / f.options.Speed))
		pause := time.NewTimer(time.Until(due))
		select {
		case <-ctx.Done():
			pause.Stop()
			return ctx.Err()
		case <-pause.C:
		}
	}
	waiting := time.NewTimer(patience)
	defer waiting.Stop()
	for now.Sub(f.slowest()) > ahead {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-f.news:
		case <-waiting.C:
			return fmt.Errorf("demo: the daemon has published no state for %s; its log says why", patience)
		}
	}
	return ctx.Err()
}

// slowest is the newest instant that the states of all zones have reached.
func (f *Facility) slowest() time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	oldest := f.truth.Now()
	for _, s := range f.states {
		if s == nil {
			return start
		}
		if s.Time.Before(oldest) {
			oldest = s.Time
		}
	}
	return oldest
}
