package service

import (
	"bytes"
	"hash/maphash"
	"slices"

	"rhizostat/policy/advice"
	"rhizostat/service/wire"
)

// show tells somebody who looks on what has happened.
func (w *worker) show(watch *watcher) {
	p := w.pending
	for i := range p.changes.Moves {
		watch.move(&p.changes.Moves[i])
	}
	for i := range p.changes.Advice {
		watch.advice(p.changes.Advice[i].Advice)
	}
	for i := range p.events {
		watch.event(&p.events[i].Event)
	}
}

// publish hands on what is on record: the advice and setpoint topics that have
// changed, answers, state and forecast.
func (w *worker) publish(failed error) {
	p := w.pending
	for i := range p.outcomes {
		lost := failed
		if lost != nil && p.repeatsRecorded(i) {
			lost = nil
		}
		w.answer(&p.outcomes[i], lost)
	}
	changed := !p.changes.Empty() || p.resync || len(p.readBack) > 0 || p.reborn
	if !changed {
		changed = w.handoverDue()
	}
	if changed {
		w.publishStanding()
		w.house.metrics.Waiting(w.zone, w)
	}
	if p.state != nil {
		w.publishState(failed)
	}
	if p.forecast != nil {
		payload, err := wire.AppendForecast(w.lot.text[:0], w.settings.Site, w.settings.Zone, p.forecast)
		if err != nil {
			w.house.log.Error("forecast was not published", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
			return
		}
		w.lot.text = payload
		w.send(wire.Message{Topic: w.topics.Forecast(w.settings.Zone), Payload: bytes.Clone(payload), Retain: true})
	}
}

func (w *worker) send(m wire.Message) { w.house.publish(w.site, m, w.now) }

// repeatsRecorded reports whether an outcome says again what an earlier flush has put on
// record: it stands though this flush failed. No desk takes a verdict on an advice
// twice, so what is repeated is the one of this flush if there is one.
func (p *work) repeatsRecorded(i int) bool {
	again := &p.outcomes[i].outcome
	return again.Repeated && !slices.ContainsFunc(p.outcomes[:i], func(a answered) bool {
		first, said := &a.outcome.Decision, &again.Decision
		return !a.outcome.Repeated && a.outcome.Result.Result == wire.Accepted && first.Advice == said.Advice && first.Decision == said.Decision
	})
}

func (w *worker) answer(a *answered, failed error) {
	result := a.outcome.Result
	if failed != nil && result.Result == wire.Accepted {
		result = a.outcome.Unrecorded(a.at)
	}
	if !a.outcome.Repeated {
		w.house.metrics.Decided(w.settings.Site, &result)
	}
	payload, err := result.Marshal()
	if err != nil {
		w.house.log.Error("answer to a decision was not published", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		return
	}
	w.send(wire.Message{Topic: w.topics.DecisionResult(w.settings.Zone), Payload: payload, QoS: 1})
}

// handoverDue reports whether the setpoints in force have changed by time
// alone.
func (w *worker) handoverDue() bool {
	return w.desk.InForceID(w.now) != w.inForce
}

// publishStanding publishes what has changed on the retained topics of advice
// and setpoints; a resync publishes all that is not empty, and what a broker
// showed otherwise is put right.
func (w *worker) publishStanding() {
	messages, err := w.desk.Publications(w.topics, w.now)
	if err != nil {
		w.house.log.Error("setpoints were not published", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		return
	}
	w.inForce = w.desk.InForceID(w.now)
	wrong := map[string]bool{}
	for _, r := range w.pending.readBack {
		w.published.put(r.topic, r.hash)
		wrong[r.topic] = true
	}
	for _, m := range messages {
		hash := maphash.Bytes(seed, m.Payload)
		delete(wrong, m.Topic)
		empty := len(m.Payload) == 0
		old, known := w.published.on(m.Topic)
		switch {
		case !known && empty: // nothing stands there that we know of
		case known && old == hash && !(w.pending.resync && !empty):
		default:
			w.send(m)
		}
		w.published.put(m.Topic, hash)
	}
	for _, r := range w.pending.readBack {
		if wrong[r.topic] { // a topic of ours that this version does not use
			w.send(wire.Message{Topic: r.topic, QoS: 1, Retain: true})
			w.published.drop(r.topic)
		}
	}
	w.publishCommands()
}

// publishState publishes the state, with the reason where nothing can be
// approved, and with what a damaged ledger does not tell any more.
func (w *worker) publishState(failed error) {
	var why *advice.Reason
	switch {
	case w.aside != nil:
		r := advice.Say("zone-set-aside")
		why = &r
	case failed != nil:
		r := advice.Say("ledger-unavailable", advice.Name(failed.Error()))
		why = &r
	}
	payload, err := wire.AppendState(w.lot.text[:0], w.settings.Site, w.settings.Zone, w.pending.state, why, w.leftOut)
	if err != nil {
		w.house.log.Error("state was not published", "site", w.settings.Site, "zone", w.settings.Zone, "error", err)
		return
	}
	w.lot.text = payload
	w.house.metrics.Zone(w.zone, w, w.pending.state)
	w.send(wire.Message{Topic: w.topics.State(w.settings.Zone), Payload: bytes.Clone(payload), Retain: true})
}
