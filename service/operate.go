package service

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/hydraulics"
	"rhizostat/service/intake"
	"rhizostat/service/ledger"
	"rhizostat/service/shard"
	"rhizostat/service/wire"
)

// operate takes something a person did: on record, and to the engine.
func (w *worker) operate(c shard.Control) {
	e, reason, err := w.event(c.Payload)
	if err != nil {
		w.house.metrics.Refused(string(reason))
		w.house.warnings.warn(w.house.log, string(reason), "event refused", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		return
	}
	if w.isDouble(&e, c.Payload) {
		w.house.metrics.clockRefused(shard.ReasonDoubled)
		return
	}
	operator := e.Operator()
	w.pending.events = append(w.pending.events, ledger.EventRow{Site: w.settings.Site, Zone: w.settings.Zone, Event: e})
	w.step(policy.Event{Kind: policy.Operator, At: w.now, Operator: &operator})
}

// How far from the zone's time an event may say that it happened. The account of water
// reaches a day back; a recovery lasts four weeks at most, and what was done before has
// no bearing any more. The zone's time is that of its newest reading where telemetry sets
// the clock, and so a little behind the clock of whoever writes.
const (
	handLate  = 24 * time.Hour
	eventLate = 28 * 24 * time.Hour
	eventSoon = time.Hour
)

// happened checks when an event says that it happened.
func (w *worker) happened(e *wire.Event) (intake.Reason, error) {
	late := eventLate
	if e.Kind == policy.WateredByHand {
		late = handLate
	}
	told := func(t time.Time) string { return t.In(w.settings.Location).Format("2 January 15:04") }
	switch behind := w.now.Sub(e.Time); {
	case behind > late:
		return intake.Late, fmt.Errorf("event: %s at %s, and the zone's time is %s; expected at most %g h before it, for what happened earlier has no bearing on what is planned; leave it out",
			e.Kind, told(e.Time), told(w.now), late.Hours())
	case behind < -eventSoon:
		return intake.FromTheFuture, fmt.Errorf("event: %s at %s, and the zone's time is %s; expected what has happened already; send it once it has",
			e.Kind, told(e.Time), told(w.now))
	}
	return "", nil
}

// event reads an event and checks that the zone has what it names: the engine
// leaves a name that it does not know alone, and would go on with the old pot as if
// it were the new one. The reason goes with an error.
func (w *worker) event(payload []byte) (wire.Event, intake.Reason, error) {
	e, err := wire.ParseEvent(payload, w.now)
	switch {
	case err != nil && len(payload) > wire.MaxDecision:
		return e, intake.TooLarge, err
	case err != nil:
		return e, intake.Malformed, err
	}
	if reason, err := w.happened(&e); err != nil {
		return e, reason, err
	}
	switch e.Kind {
	case policy.Transplanted, policy.ContainerChanged, policy.SubstrateChanged:
		if _, ok := w.settings.Containers[e.Container]; !ok && e.Container != "" {
			return e, intake.UnknownContainer, noSuch("container", e.Container, slices.Collect(maps.Keys(w.settings.Containers)))
		}
		if !w.knowsSubstrate(e.Substrate) && e.Substrate != "" {
			names := append(hydraulics.BuiltInNames(), slices.Collect(maps.Keys(w.settings.Substrates))...)
			return e, intake.UnknownSubstrate, noSuch("substrate", e.Substrate, names)
		}
	case policy.ProbeMoved:
		var names []string
		for i := range w.settings.Probes {
			names = append(names, w.settings.Probes[i].ID)
		}
		if !slices.Contains(names, e.Probe) {
			return e, intake.UnknownProbe, noSuch("probe", e.Probe, names)
		}
	}
	return e, "", nil
}

func (w *worker) knowsSubstrate(name string) bool {
	if _, ok := w.settings.Substrates[name]; ok {
		return true
	}
	_, ok := hydraulics.BuiltIn(name)
	return ok
}

// noSuch says that a name is none of those that there are.
func noSuch(what, name string, among []string) error {
	slices.Sort(among)
	among = slices.Compact(among)
	expected := "one of " + strings.Join(among, ", ")
	if len(among) == 0 {
		expected = "none, for the site file has none"
	}
	return fmt.Errorf("event: there is no %s %q; expected %s; correct the name, or add it to the site file and reload", what, name, expected)
}
