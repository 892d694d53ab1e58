package policy

import (
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/cockroachdb/datadriven"

	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
)

// Stories are single situations and what a person would ask of them: water,
// band, advice, why. go test ./policy -run Stories -rewrite writes the answers
// anew; read what changed before it is kept.
func TestStories(t *testing.T) {
	datadriven.Walk(t, filepath.Join("..", "testdata", "stories"), func(t *testing.T, path string) {
		s := &story{t: t}
		datadriven.RunTest(t, path, func(t *testing.T, d *datadriven.TestData) string {
			s.said.Reset()
			s.command(d)
			return s.said.String()
		})
	})
}

// story is a zone in the middle of one.
type story struct {
	t        *testing.T
	settings Settings
	zone     *Zone
	wake     time.Time
	approve  bool // every advice is approved as it comes
	last     *State
	said     strings.Builder
}

// command is one of:
//
//	zone [quorum=N] [zone-time=NAME] [approve]   begin anew
//	reading at=T | from=T to=T [every=D] p1=V | p1=(V,V) ...   readings, straight from one value to the other
//	    water=ML drain=ML: what the zone's own meters say; ec=(V,V): pore EC of every probe
//	climate at=T | from=T to=T temperature=V humidity=V radiation=V
//	event at=T kind=K [probe=P height=CM] [volume=ML] [note=TEXT]
//	misdated at=T probe=P                                    its clock is wrong
//	decide at=T advice=STATE                                 of the newest advice
//	wake at=T                                                nothing but time
//	restart                                                  stopped and gone on
func (s *story) command(d *datadriven.TestData) {
	switch d.Cmd {
	case "zone":
		s.begin(d)
	case "reading":
		s.over(d, func(at time.Time, share float64) { s.read(d, at, share) })
	case "climate":
		s.over(d, func(at time.Time, share float64) { s.climate(d, at, share) })
	case "event":
		s.event(d)
	case "misdated":
		at := s.time(d, "at")
		s.step(Event{Kind: Misdated, At: at, Source: s.probe(s.text(d, "probe"))})
	case "decide":
		n := len(s.zone.plans)
		if n == 0 {
			d.Fatalf(s.t, "no advice to decide on")
		}
		s.step(Event{Kind: Approved, At: s.time(d, "at"), Approval: &Approval{
			Advice: s.zone.plans[n-1].Advice.ID, State: ApprovalState(s.text(d, "advice")), Note: s.text(d, "note")}})
	case "wake":
		s.wakes(s.time(d, "at"))
	case "restart":
		s.restart()
	default:
		d.Fatalf(s.t, "unknown command %s", d.Cmd)
	}
	if d.Cmd != "zone" {
		s.tellState()
	}
}

func (s *story) begin(d *datadriven.TestData) {
	s.settings = bench()
	if d.HasArg("quorum") {
		d.ScanArgs(s.t, "quorum", &s.settings.Quorum)
	}
	if name := s.text(d, "zone-time"); name != "" {
		location, err := time.LoadLocation(name)
		if err != nil {
			d.Fatalf(s.t, "%v", err)
		}
		s.settings.Location = location
	}
	s.approve = d.HasArg("approve")
	z, err := New(s.settings)
	if err != nil {
		d.Fatalf(s.t, "%v", err)
	}
	s.zone, s.wake, s.last = z, time.Time{}, nil
	state := z.state(0)
	fmt.Fprintf(&s.said, "band %.2f to %.2f, container capacity %.2f\n", state.RefillPoint, state.FullPoint, state.DesignCapacity)
}

// over calls each for every instant of a command, with how far along it is.
func (s *story) over(d *datadriven.TestData, each func(at time.Time, share float64)) {
	if d.HasArg("at") {
		each(s.time(d, "at"), 0)
		return
	}
	from, to, every := s.time(d, "from"), s.time(d, "to"), 5*time.Minute
	if text := s.text(d, "every"); text != "" {
		var err error
		if every, err = time.ParseDuration(text); err != nil {
			d.Fatalf(s.t, "%v", err)
		}
	}
	for at := from; !at.After(to); at = at.Add(every) {
		each(at, float64(at.Sub(from))/float64(to.Sub(from)))
	}
}

func (s *story) read(d *datadriven.TestData, at time.Time, share float64) {
	for _, a := range d.CmdArgs {
		e := Event{Kind: Reading, At: at, Stamp: at}
		switch {
		case a.Key == "water":
			e.Source = ZoneWide
			e.Values.Set(sensing.IrrigationVolume, s.value(d, a.Key, share))
		case a.Key == "drain":
			e.Source = ZoneWide
			e.Values.Set(sensing.DrainVolume, s.value(d, a.Key, share))
		case s.probe(a.Key) >= 0:
			e.Source = s.probe(a.Key)
			e.Values.Set(sensing.WaterContent, s.value(d, a.Key, share))
			e.Values.Set(sensing.SubstrateTemperature, 21)
			if d.HasArg("ec") {
				e.Values.Set(sensing.PoreEC, s.value(d, "ec", share))
			}
		default:
			continue
		}
		s.step(e)
	}
}

func (s *story) climate(d *datadriven.TestData, at time.Time, share float64) {
	e := Event{Kind: Reading, At: at, Stamp: at, Source: Climate}
	for key, signal := range map[string]sensing.Signal{"temperature": sensing.AirTemperature, "humidity": sensing.RelativeHumidity, "radiation": sensing.Radiation} {
		if d.HasArg(key) {
			e.Values.Set(signal, s.value(d, key, share))
		}
	}
	s.step(e)
}

func (s *story) event(d *datadriven.TestData) {
	o := &OperatorEvent{Kind: s.text(d, "kind"), By: "head grower", Probe: s.text(d, "probe"), Note: s.text(d, "note")}
	if d.HasArg("height") {
		o.HeightCM = s.value(d, "height", 0)
	}
	if d.HasArg("volume") {
		o.VolumeML = s.value(d, "volume", 0)
	}
	s.step(Event{Kind: Operator, At: s.time(d, "at"), Operator: o})
}

// restart stops the zone and goes on from its snapshot, which must not show.
func (s *story) restart() {
	snapshot := s.zone.Snapshot()
	z, err := Restore(s.settings, snapshot)
	if err != nil {
		s.t.Fatal(err)
	}
	s.zone = z
}

// wakes lets the engine's own wake-ups up to a time happen.
func (s *story) wakes(until time.Time) {
	for n := 0; !s.wake.IsZero() && !s.wake.After(until) && n < 100000; n++ {
		at := s.wake
		s.wake = time.Time{}
		s.take(Event{Kind: Wake, At: at})
	}
}

// step lets what is due before an event happen, and then the event.
func (s *story) step(e Event) {
	s.wakes(e.At.Add(-time.Millisecond))
	s.take(e)
}

func (s *story) take(e Event) {
	out := s.zone.Step(e)
	s.wake = out.NextWake
	if out.State != nil {
		s.last = out.State
	}
	for _, share := range out.Drybacks {
		if share >= 0.02 { // smaller ones are noise
			fmt.Fprintf(&s.said, "%s  dryback of %.0f %%\n", s.clock(e.At), 100*share)
		}
	}
	if out.Advice == nil {
		return
	}
	s.tellAdvice(e.At, out.Advice)
	if out.Advice.Setpoints == nil {
		return
	}
	s.take(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: out.Advice.ID, State: StatePending}})
	if s.approve {
		s.take(Event{Kind: Approved, At: e.At, Approval: &Approval{Advice: out.Advice.ID, State: StateApproved}})
	}
}

func (s *story) tellAdvice(at time.Time, a *advice.Advice) {
	fmt.Fprintf(&s.said, "%s  advice: %s", s.clock(at), a.Action)
	if p := a.Setpoints; p != nil {
		fmt.Fprintf(&s.said, ", valid %s to %s", s.clock(a.ValidFrom), s.clock(a.ValidUntil))
		if n := len(p.Schedule); n > 0 {
			fmt.Fprintf(&s.said, ", %d x %d mL from %s", n, p.Schedule[0].VolumeML, s.clock(p.Schedule[0].At))
		}
		if a.Action == advice.Leach {
			fmt.Fprintf(&s.said, ", drain fraction %.2f", p.DrainFraction)
		}
	}
	s.said.WriteByte('\n')
	for _, r := range a.Reasons {
		fmt.Fprintf(&s.said, "  %s: %s\n", r.Code, r.Text)
	}
}

// tellState says what the zone is now.
func (s *story) tellState() {
	state := s.last
	if state == nil || !state.Known {
		s.said.WriteString("nothing is known yet\n")
		return
	}
	fmt.Fprintf(&s.said, "%s  water %.2f, %s the band, %s", s.clock(state.Time), state.WaterContent, state.Position, state.PartOfDay)
	if state.Saturated {
		s.said.WriteString(", saturated")
	}
	if state.Recovering {
		s.said.WriteString(", recovering")
	}
	if !state.Quorum {
		s.said.WriteString(", too few healthy probes")
	}
	for _, p := range state.Probes {
		if p.Seen && p.Health != "ok" {
			fmt.Fprintf(&s.said, ", %s is %s", p.ID, p.Health)
		}
	}
	s.said.WriteByte('\n')
	fmt.Fprintf(&s.said, "last 24 h: given %.0f mL", state.IrrigationML24h)
	if state.PoreEC != nil {
		fmt.Fprintf(&s.said, "; pore EC %.1f mS/cm", *state.PoreEC)
	}
	s.said.WriteByte('\n')
	for _, f := range state.Diagnosis {
		fmt.Fprintf(&s.said, "  perhaps %s (%.0f %%): %s\n", f.Cause, 100*f.Probability, f.LookAt)
	}
}

func (s *story) clock(t time.Time) string { return t.In(s.settings.Location).Format("2 Jan 15:04") }

// time is local, like 05-04T06:00.
func (s *story) time(d *datadriven.TestData, key string) time.Time {
	t, err := time.ParseInLocation("2006-01-02T15:04", "2026-"+s.text(d, key), s.settings.Location)
	if err != nil {
		d.Fatalf(s.t, "%s: %v", key, err)
	}
	return t.UTC()
}

func (s *story) text(d *datadriven.TestData, key string) string {
	var out string
	d.MaybeScanArgs(s.t, key, &out)
	return out
}

// value is one number, or how far it has come from one to another.
func (s *story) value(d *datadriven.TestData, key string, share float64) float64 {
	for _, a := range d.CmdArgs {
		if a.Key != key {
			continue
		}
		var ends []float64
		for _, text := range a.Vals {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				d.Fatalf(s.t, "%s: %v", key, err)
			}
			ends = append(ends, v)
		}
		if len(ends) == 2 {
			return ends[0] + (ends[1]-ends[0])*share
		}
		return ends[0]
	}
	return 0
}

// probe is the place of a probe, -1 when it is none.
func (s *story) probe(id string) int {
	for i := range s.settings.Probes {
		if s.settings.Probes[i].ID == id {
			return i
		}
	}
	return -1
}
