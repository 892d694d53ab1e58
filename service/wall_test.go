package service

import (
	"fmt"
	"io"
	"log/slog"
	"math"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"rhizostat/policy"
	"rhizostat/service/exposition"
	"rhizostat/service/wire"
)

// wallPlay is a zone in the wall clock whose pots are watered as the setpoints say
// and whose advice a person approves, beside a zone that never sends anything.
type wallPlay struct {
	t      *testing.T
	topics wire.Topics
	house  *house

	mu        sync.Mutex
	states    []time.Time // of zone 0
	silent    *wire.State // newest of zone 1
	setpoint  *wire.Setpoint
	approvals map[string]bool
	ask       []*wire.Advice
	cleared   time.Time
}

func (p *wallPlay) take(_ int, m wire.Message, _ time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch m.Topic {
	case p.topics.State(bench(0)):
		p.states = append(p.states, time.Now())
	case p.topics.State(bench(1)):
		s, err := wire.ParseState(m.Payload)
		if err != nil {
			p.t.Error(err)
			return
		}
		p.silent = s
	case p.topics.Advice(bench(0)):
		a, err := wire.ParseAdvice(m.Payload)
		if err != nil {
			p.t.Error(err)
			return
		}
		if a.Approval.State == policy.StatePending {
			p.ask = append(p.ask, a)
		}
	case p.topics.Setpoint(bench(0)):
		if p.setpoint = nil; len(m.Payload) == 0 {
			p.cleared = time.Now()
			return
		}
		s, err := wire.ParseSetpoint(m.Payload)
		if err != nil || !p.approvals[s.Advice] {
			p.t.Errorf("setpoints of advice %s, which nobody approved (%v)", s.Advice, err)
		}
		p.setpoint = s
	}
}

// approve lets the person approve all that asks.
func (p *wallPlay) approve() {
	p.mu.Lock()
	ask := p.ask
	p.ask = nil
	for _, a := range ask {
		p.approvals[a.ID] = true
	}
	p.mu.Unlock()
	for _, a := range ask {
		d := wire.Decision{Advice: a.ID, Digest: a.Approval.Digest, Decision: wire.Approve, By: "head grower"}
		payload, err := d.Marshal()
		if err != nil {
			p.t.Fatal(err)
		}
		p.house.person(p.topics.Decision(bench(0)), payload, time.Now().UTC(), func() {})
	}
}

// shot is the volume that the schedule in force gives since a time, mL.
func (p *wallPlay) shot(since time.Time) float64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	volume := 0.0
	if p.setpoint != nil {
		for _, s := range p.setpoint.Setpoints.Schedule {
			if s.At.After(since) && !s.At.After(time.Now()) {
				volume += float64(s.VolumeML)
			}
		}
	}
	return volume
}

// sample is the newest of zone 0.
func (p *wallPlay) sample() exposition.Sample {
	var out exposition.Sample
	p.house.metrics.each(func(s *exposition.Sample) bool {
		if s.Zone == bench(0) {
			out = *s
		}
		return true
	})
	return out
}

// live lets time go by: the pots dry by day and are watered, each probe speaks
// every five minutes without a stamp, until it is silenced.
func (p *wallPlay) live(w *float64, until time.Time, speaking bool) {
	const volumeML = 6975 // of pot-7l
	for time.Now().Before(until) {
		last := time.Now()
		time.Sleep(5 * time.Minute)
		p.approve()
		given := p.shot(last)
		if h := time.Now().Hour(); h >= 6 && h < 18 {
			*w -= 0.0009 // 75 mL an hour
		}
		*w = math.Min(0.588, *w+given/volumeML)
		if !speaking {
			continue
		}
		if given > 0 {
			p.house.receive(p.topics.Telemetry(bench(0), "zone"), fmt.Appendf(nil, `{"irrigation_volume":%.0f}`, given), time.Now().UTC())
		}
		for i, name := range []string{"p1", "p2"} {
			noise := 0.0006 * math.Sin(float64(time.Now().Unix()/300)*float64(3+i))
			p.house.receive(p.topics.Telemetry(bench(0), name), fmt.Appendf(nil, `{"water_content":%.4f,"bulk_ec":1.1,"substrate_temperature":19.5}`, *w+noise), time.Now().UTC())
		}
	}
}

// Two and a half days in the wall clock, with a restart of two hours in the middle
// and a silence at the end: the state comes every minute, also of a zone that never
// spoke; nothing is on the setpoint topic but what was approved; it goes when its
// time is over though no reading comes; and the counters go on.
func TestTheWallClockFromEndToEnd(t *testing.T) {
	site := writeSite(t, siteOf("north", 2))
	synctest.Test(t, func(t *testing.T) {
		log := slog.New(slog.NewTextHandler(io.Discard, nil))
		settings := Settings{TopicRoot: "rhizostat", Sites: site, Clock: "wall", StateEvery: time.Minute}
		sites, l := opened(t, settings, log)
		p := &wallPlay{t: t, topics: wire.Topics{Root: "rhizostat", Site: "north"}, approvals: map[string]bool{}}
		begin := func() (end func()) {
			var err error
			if p.house, err = newHouse(t.Context(), settings, sites, l, newMetrics("test"), 2, log); err != nil {
				t.Fatal(err)
			}
			p.house.publish = p.take
			stop, done := new(Service).start(p.house)
			return func() {
				stop()
				<-done
				if err := p.house.close(); err != nil {
					t.Error(err)
				}
			}
		}
		began, w := time.Now(), 0.56 // midnight
		end := begin()
		p.live(&w, began.Add(37*time.Hour), true)
		end()
		before, force := p.sample(), p.setpoint
		if before.IrrigationML < 300 || before.UptakeML < 500 || force == nil {
			t.Fatalf("after 37 h: %.0f mL given, %.0f mL taken up, in force %+v", before.IrrigationML, before.UptakeML, force)
		}
		if want := 37*60 - 10; len(p.states) < want {
			t.Errorf("%d states in 37 h, want at least %d", len(p.states), want)
		}
		if p.silent == nil || p.silent.Data.Quorum || time.Since(p.silent.Time) > time.Minute {
			t.Errorf("the zone that never spoke says %+v", p.silent)
		}

		time.Sleep(2 * time.Hour)
		end = begin()
		p.live(&w, began.Add(40*time.Hour), true)
		after := p.sample()
		if p.setpoint == nil || p.setpoint.Advice != force.Advice {
			t.Errorf("in force before the restart was %s, after it %+v", force.Advice, p.setpoint)
		}
		for name, pair := range map[string][2]float64{
			"irrigation": {before.IrrigationML, after.IrrigationML}, "uptake": {before.UptakeML, after.UptakeML},
			"in band": {before.InBandS, after.InBandS}, "below band": {before.BelowBandS, after.BelowBandS},
			"above band": {before.AboveBandS, after.AboveBandS}, "saturation": {before.SaturationS, after.SaturationS},
		} {
			if pair[1] < pair[0] {
				t.Errorf("%s was counted to %.0f before the restart and to %.0f after it", name, pair[0], pair[1])
			}
		}
		if sum, then := before.InBandS+before.AboveBandS+before.BelowBandS, after.InBandS+after.AboveBandS+after.BelowBandS; then <= sum {
			t.Errorf("the band was watched for %.0f s before the restart and %.0f s after it", sum, then)
		}

		p.live(&w, began.Add(80*time.Hour), false)
		end()
		if p.setpoint != nil {
			t.Errorf("at %s, 40 h after the last reading, the setpoint topic holds %+v", time.Now().UTC(), p.setpoint)
		}
		if gone := p.states[len(p.states)-1]; time.Since(gone) > time.Minute {
			t.Errorf("a zone that fell silent says nothing since %s", gone)
		}
	})
}
