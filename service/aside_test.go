package service

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/service/wire"
)

// broken breaks the engine of the zone at its next step.
func (s *still) broken() *worker {
	w := s.workers[0]
	w.engine = nil
	return w
}

// lastOf gives what stands on a topic, false where nothing was ever published.
func (s *still) lastOf(topic string) (payload []byte, ok bool) {
	for _, m := range s.published {
		if m.Topic == topic {
			payload, ok = m.Payload, true
		}
	}
	return payload, ok
}

// What is approved of a zone that was set aside ends at its time like any other's,
// and the last state says why no other comes.
func TestWhatIsApprovedEndsThoughTheZoneIsSetAside(t *testing.T) {
	s := newStill(t)
	s.tell(0, 40*time.Minute)
	w := s.workers[0]
	a := w.desk.Standing()
	s.decide(t, a, wire.Approve)
	s.lots[0].flush()
	if now, _ := s.lastOf(w.topics.Setpoint(bench(0))); len(now) == 0 {
		t.Fatal("no setpoints to end")
	}
	s.broken()
	s.tell(45*time.Minute, a.ValidUntil.Sub(morning)+5*time.Minute)
	if w.aside == nil {
		t.Fatal("the zone is not set aside")
	}
	if now, _ := s.lastOf(w.topics.Setpoint(bench(0))); len(now) > 0 {
		t.Errorf("past %s the setpoints still stand: %s", a.ValidUntil, now)
	}
	payload, _ := s.lastOf(w.topics.Advice(bench(0)))
	if got, err := wire.ParseAdvice(payload); err != nil || got.ID != a.ID || got.Approval.State != policy.StateExpired {
		t.Errorf("the advice reads %s (%v)", payload, err)
	}
	payload, _ = s.lastOf(w.topics.State(bench(0)))
	state, err := wire.ParseState(payload)
	if err != nil {
		t.Fatal(err)
	}
	if state.NotApprovable == nil || state.NotApprovable.Code != "zone-set-aside" || state.WaterContent != nil || len(state.Data.Probes) != 2 {
		t.Errorf("the last state is %s", payload)
	}
	if due := w.desk.NextDue(w.now); !due.IsZero() {
		t.Errorf("something is due at %s, after %s", due, w.now)
	}
}

// A zone that breaks before it had any state is there for an alert, without
// numbers that nobody knows.
func TestAZoneThatBreaksAtOnceIsSeen(t *testing.T) {
	for _, c := range []struct {
		name string
		told time.Duration // before it breaks
		want []string
		none string
	}{
		{"before its first state", 0, []string{`rhizostat_zone_set_aside{site="north",zone="bench-0"} 1`}, "rhizostat_zone_irrigation_liters_total{"},
		{"after", 40 * time.Minute, []string{`rhizostat_zone_set_aside{site="north",zone="bench-0"} 1`, "rhizostat_zone_irrigation_liters_total{"}, "NaN"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newStill(t)
			if c.told > 0 {
				s.tell(0, c.told)
			}
			s.broken()
			s.tell(c.told+5*time.Minute, c.told+10*time.Minute)
			var out bytes.Buffer
			if err := s.metrics.Expose(&out); err != nil {
				t.Fatal(err)
			}
			for _, want := range c.want {
				if !strings.Contains(out.String(), want) {
					t.Errorf("no %s", want)
				}
			}
			if strings.Contains(out.String(), c.none) {
				t.Errorf("%s is there", c.none)
			}
		})
	}
}
