package diagnose

import (
	"math"
	"time"

	"rhizostat/policy/advice"
	"rhizostat/policy/sensing"
)

// Findings lists the causes that are likely, the likeliest first; it is empty
// while it is likelier that nothing is wrong than that something is, or while
// little is known. Probabilities are over all causes and nothing: where the data
// cannot tell causes apart they are spread over them. A cause for which nothing speaks
// does not lead, and stands below all that have evidence of their own. While it is the likeliest,
// only what harms within the day is told.
func (m *Memory) Findings(atMs int64, n Naming) []Finding {
	b := &m.Belief
	if b.SinceMs == 0 {
		return nil
	}
	p, _ := b.probabilities()
	m.share(&p)
	m.shareLone(&p, atMs)
	m.shareElsewhere(&p, atMs)
	var out, alone []Finding
	for range causeCount {
		top, best := -1, mentioned
		for c := range p {
			if p[c] >= best {
				top, best = c, p[c]
			}
		}
		if top < 0 {
			break
		}
		c := Cause(top)
		evidence := m.evidence(c, atMs, n)
		if len(evidence) > 0 && len(out) == 0 && len(alone) > 0 && (p[c] < leastTold || !c.Hardware() || len(m.fastEvidence(c, atMs, n)) == 0) {
			break // what leads cannot say why, and what can may wait until it does
		}
		since := b.BeganMs[c]
		if since == 0 {
			since = b.SinceMs
		}
		f := Finding{
			Cause: c.String(), Probability: math.Round(p[c]*1000) / 1000, SinceMs: since,
			Evidence: evidence, Look: m.lookAt(c, since, atMs, n),
		}
		p[c] = 0
		if len(evidence) > 0 {
			out = append(out, f)
			continue
		}
		f.Evidence = []advice.Reason{advice.Say("no-evidence-alone", advice.Name(c.String()))}
		alone = append(alone, f)
	}
	if len(out) == 0 {
		return nil // nothing leads that cannot say why
	}
	return append(out, alone...)
}

// leastTold is the probability from which a fault of valve, emitter or probe that has evidence is
// told though a cause that has none is likelier (common practice, no source): what does harm
// within the day, and was seen at once, does not wait for the other's evidence.
const leastTold = 0.2

// Leading is the likeliest cause of trouble while something is wrong, with its
// probability; false while nothing is.
func (m *Memory) Leading() (c Cause, probability float64, sinceMs int64, ok bool) {
	b := &m.Belief
	if b.SinceMs == 0 {
		return 0, 0, 0, false
	}
	p, _ := b.probabilities()
	m.shareElsewhere(&p, b.AtMs)
	for k := range p {
		if p[k] > p[c] {
			c = Cause(k)
		}
	}
	return c, p[c], b.SinceMs, true
}

// Broken is how likely it is that something is broken that a person mends with a spanner, 0 to
// 1: the causes of which Hardware is true, together.
func (m *Memory) Broken() (probability float64) {
	p, _ := m.Belief.probabilities()
	m.shareElsewhere(&p, m.Belief.AtMs)
	for c := range p {
		if Cause(c).Hardware() {
			probability += p[c]
		}
	}
	return probability
}

// evidence tells what speaks for a cause: the features it moves that have moved
// its way, and what was seen at once.
func (m *Memory) evidence(c Cause, atMs int64, n Naming) []advice.Reason {
	out := m.fastEvidence(c, atMs, n)
	fast := len(out)
	if r, ok := m.movedEvidence(atMs, n); ok && c == WeatherOrGrowth {
		out = append(out, r)
	}
	for i := range predictions[c] {
		p := &predictions[c][i]
		b := &m.Baselines.Of[p.feature]
		if b.Days < leastDays || b.older(atMs, 2*dayMs) || math.Abs(float64(b.Off)) < 1.2 ||
			p.shift != 0 && p.shift*float64(b.Off) < 0 {
			continue
		}
		out = append(out, sentence(p.feature, float64(b.Mean), float64(b.Now)))
	}
	if r, ok := m.Fast.Dry.evidence(atMs, n); ok && (c == EmitterFault || c == ValveStuckClosed) {
		out = append(out, r)
	}
	if r, ok := m.Fast.Wet.evidence(); ok && c == Oversaturation {
		out = append(out, r)
	}
	if r, ok := m.ends(c, atMs); ok && (len(out) > 0 || c == RootBound) {
		out = append(out, r)
	}
	if c == RootBound && len(out) == fast {
		out = nil // shots that lift less say nothing of roots by themselves
	}
	if m.Steady.relapsed(c, atMs) && len(out) > 0 {
		out = append(out, advice.Say("relapse", advice.Name(c.String())))
	}
	// Advice is no evidence: what nothing speaks for is not said for its sake.
	if len(out) > 0 && (c == Oversaturation || c == ValveStuckOpen && m.Baselines.Of[WetHours].Now > 4) {
		out = append(out, advice.Say("roots-left-alone"))
	}
	return out
}

// emittersShare is the share of a closed valve's probability that is its own emitter's where
// one container speaks for its zone: valves that stay shut and emitters that give nothing
// are about as frequent, and a valve is the worse to miss (common practice, no source).
const emittersShare = 0.4

// oneSpeaks tells a zone that one probe speaks for, with no drain told that would say
// whether water came to the others.
func (m *Memory) oneSpeaks() bool {
	return m.Fast.Speaks == 1 && m.Baselines.Of[Account].Days == 0
}

// share takes from what was found what no instrument of the zone can tell: where nothing
// comes to the one container that is looked at, the others may have their water.
func (m *Memory) share(p *[causeCount]float64) {
	if m.oneSpeaks() {
		x := emittersShare * p[ValveStuckClosed]
		p[ValveStuckClosed], p[EmitterFault] = p[ValveStuckClosed]-x, p[EmitterFault]+x
	}
}

// leastSaidRise is what a rise is called from, m3/m3: less is printed as no fall.
const leastSaidRise = 0.0005

// fastEvidence tells what was seen at once.
func (m *Memory) fastEvidence(c Cause, atMs int64, n Naming) []advice.Reason {
	var out []advice.Reason
	f := &m.Fast
	fresh := func(at int64) bool { return at != 0 && atMs-at < 2*dayMs }
	switch c {
	case ValveStuckClosed, EmitterFault, EdgeChannelling, RootBound:
		if f.Shots.Lost > 0 && fresh(f.Shots.LostMs) && (c == ValveStuckClosed || c == EmitterFault) {
			out = append(out, advice.Say("shots-lost", advice.Count(int(f.Shots.Lost)), advice.Date(time.UnixMilli(f.Shots.LostMs), n.Location)))
		}
		if f.Shots.Lost > 0 && f.Shots.Ran && c == EmitterFault {
			out = append(out, advice.Say("drains-meanwhile"))
		}
		if m.oneSpeaks() && f.Shots.Lost > 0 && fresh(f.Shots.LostMs) && (c == ValveStuckClosed || c == EmitterFault) {
			out = append(out, advice.Say("one-speaks"))
		}
		if w := &f.Awaited; c == ValveStuckClosed && fresh(w.SawMs) && w.lost() {
			out = append(out, advice.Say("plan-lost", advice.Volume(float64(w.PlannedML)), advice.Date(time.UnixMilli(w.SawMs), n.Location)))
		}
		if f.Shots.liftsLess(atMs, 2*dayMs) && c != ValveStuckClosed {
			out = append(out, advice.Say("shots-lift-less", advice.Share(math.Max(float64(f.Shots.Recent), 0)), advice.Share(float64(f.Shots.usual().Mean))))
		}
		if k := f.cutOff(); c == EmitterFault && k >= 0 {
			w := &f.Probes[k]
			out = append(out, advice.Say("probe-answers-less", advice.Name(n.Probe(k)), advice.Share(math.Max(float64(w.Recent), 0)), advice.Share(float64(w.Usual))))
		}
		if c == EmitterFault && f.partedProbe() >= 0 && f.cutOff() < 0 {
			out = append(out, advice.Say("probe-or-water", advice.Name(n.Probe(f.partedProbe())), advice.Name(sensing.Health(f.WorstHealth).String())))
		}
		if k := &f.Kept; fresh(k.SawMs) && k.Windows >= leastShots && float64(k.Last) < float64(k.Mean)-0.15 {
			out = append(out, advice.Say("stays-less", advice.Share(math.Max(float64(k.Last), 0)), advice.Share(float64(k.Mean))))
		}
	case ValveStuckOpen:
		if w := &f.Fall; fresh(w.SawMs) && w.Fell < 0.3*w.Expected {
			if w.Fell < -leastSaidRise {
				out = append(out, advice.Say("rose-instead", advice.Water(float64(w.Expected)), advice.Water(float64(-w.Fell))))
			} else {
				out = append(out, advice.Say("no-fall", advice.Water(float64(w.Expected)), advice.Water(math.Max(float64(w.Fell), 0))))
			}
		}
	case WeatherOrGrowth:
		if w := &f.Fall; fresh(w.SawMs) && w.Fell < 0.7*w.Expected && w.Fell > 0 {
			out = append(out, advice.Say("no-fall", advice.Water(float64(w.Expected)), advice.Water(float64(w.Fell))))
		}
	case UnreportedWatering:
		if fresh(f.Unreported.AtMs) && f.Unreported.Rise > 0 {
			out = append(out, advice.Say("rise-not-reported", advice.Date(time.UnixMilli(f.Unreported.AtMs), n.Location), advice.Water(float64(f.Unreported.Rise))))
		}
	case SensorFault:
		switch m.levelOrProbe(atMs) {
		case -1:
			out = append(out, advice.Say("level-or-probe"))
		case 1:
			out = append(out, advice.Say("level-or-probe-higher"))
		}
		k, step := int(f.WorstProbe)-1, &f.WorstStep
		switch {
		case k < 0:
		case f.Drifts.Worst == f.WorstProbe && sensing.Health(f.WorstHealth) == sensing.Drifting:
			w := &f.Drifts.Probes[k]
			out = append(out, advice.Say("probe-drifts", advice.Name(n.Probe(k)), advice.Water(math.Abs(float64(w.Moves[0]))*levelStep), advice.Water(math.Abs(float64(w.ByNight)))))
		case !sensing.Health(f.WorstHealth).Usable():
			out = append(out, advice.Say("probe-ill", advice.Name(n.Probe(k)), advice.Name(sensing.Health(f.WorstHealth).String())))
		case step.AtMs != 0:
			out = append(out, advice.Say("probe-stepped", advice.Name(n.Probe(k)), advice.Date(time.UnixMilli(step.AtMs), n.Location), advice.Water(float64(step.From)), advice.Water(float64(step.To))))
		case f.Unreported.stuckUp(atMs):
			u := &f.Unreported
			out = append(out, advice.Say("rise-stays", advice.Date(time.UnixMilli(u.AtMs), n.Location), advice.Water(float64(u.Rise)),
				advice.Water(float64(u.StaysAt)), advice.Water(float64(m.Baselines.Of[Rest].Mean)), advice.Name(n.Probe(k))))
		}
	}
	return out
}

// sentence tells of a feature that has moved, before and now.
func sentence(k Feature, before, now float64) advice.Reason {
	times := advice.Share(math.Exp(now - before))
	switch k {
	case UptakeDay:
		return advice.Say("uptake-by-day", times)
	case UptakeNight:
		return advice.Say("uptake-by-night", times)
	case Droop:
		return advice.Say("afternoon-droop", advice.Share(math.Exp(now)), advice.Share(math.Exp(before)))
	case Rise:
		return advice.Say("rise-per-volume", advice.Share(math.Exp(now)), advice.Share(math.Exp(before)))
	case Plateau:
		return advice.Say("plateau", advice.Water(now), advice.Water(before))
	case Peak:
		return advice.Say("peak", advice.Water(now), advice.Water(before))
	case Rest:
		return advice.Say("level-at-rest", advice.Water(now), advice.Water(before))
	case Over:
		return advice.Say("stands-over", advice.Water(now), advice.Water(before))
	case DrainTime:
		return advice.Say("drain-time", advice.Span(time.Duration(math.Exp(now)*float64(time.Second))), advice.Span(time.Duration(math.Exp(before)*float64(time.Second))))
	case RootCel:
		return advice.Say("root-zone-warmth", advice.Temperature(now), advice.Temperature(before))
	case PoreEC:
		return advice.Say("pore-ec-moved", advice.EC(math.Exp(now)), advice.EC(math.Exp(before)))
	case Salt:
		return advice.Say("salt-index-moved", advice.Share(math.Exp(now-before)))
	case SaltRise:
		return advice.Say("salt-rise", advice.Share(math.Exp(now)), advice.Share(math.Exp(usualSaltRise+usualSaltSpread)))
	case Drained:
		if now < 0 {
			return advice.Say("drain-missing", advice.Share(-now), advice.Share(math.Max(-before, 0)))
		}
		return advice.Say("drain-moved", advice.Share(now), advice.Share(math.Max(before, 0)))
	case Account:
		return advice.Say("water-found", advice.Share(1+now), advice.Share(1+before))
	case WetHours:
		return advice.Say("saturated-hours", advice.Number(now), advice.Number(before))
	case Scatter:
		return advice.Say("probes-apart", advice.Water(now), advice.Water(before))
	}
	panic("diagnose: no sentence for feature " + time.Duration(k).String())
}
