package service

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"rhizostat/policy"
	"rhizostat/policy/advice"
	"rhizostat/service/link"
	"rhizostat/service/wire"
)

// From the evening on tomorrow's advice stands while today's is followed: a person
// who withdraws means what is followed, and finds its id.
func TestWithdrawWhatIsInForce(t *testing.T) {
	b := newBroker(t)
	s := newStill(t)
	w := s.workers[0]
	s.tell(0, 40*time.Minute)
	s.decide(t, w.desk.Standing(), wire.Approve)
	s.lots[0].flush()
	today := w.desk.InForce(w.now)
	s.tell(45*time.Minute, 11*time.Hour+15*time.Minute)
	tomorrow := w.desk.Standing()
	if today == nil || today.ID == tomorrow.ID || tomorrow.Approval.State != policy.StatePending || tomorrow.Action == advice.Inspect {
		t.Fatalf("in force %+v, standing %+v", today, tomorrow)
	}
	said := make(chan wire.Decision, 8)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	err := b.Subscribe(topics.Decision("+"), func(_ string, payload []byte) {
		d, err := wire.ParseDecision(payload)
		if err != nil {
			t.Error(err)
		}
		said <- d
		answer, err := wire.Accept(d, time.Now()).Marshal()
		if err != nil {
			t.Error(err)
		}
		if err := b.Publish(topics.DecisionResult(bench(0)), answer, false); err != nil {
			t.Error(err)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range s.published {
		if m.Retain {
			if err := b.Publish(m.Topic, m.Payload, true); err != nil {
				t.Fatal(err)
			}
		}
	}
	var out bytes.Buffer
	console := Console{Link: link.Settings{Broker: "tcp://" + b.Address, ClientID: "you"}, Root: "rhizostat", Out: &out}
	if err := console.List(t.Context(), true, false); err != nil || !strings.Contains(out.String(), "in force meanwhile") || !strings.Contains(out.String(), today.ID) {
		t.Errorf("the list names not what is in force (%v)\n%s", err, out.String())
	}
	for _, ids := range [][]string{nil, {today.ID}} {
		d := Decide{Console: console, Verdict: wire.Withdraw, Advice: ids, By: "you", Wait: 5 * time.Second}
		if err := d.Do(t.Context()); err != nil {
			t.Fatal(err)
		}
		if got := <-said; len(said) != 0 || got.Advice != today.ID || got.Digest != today.Approval.Digest {
			t.Errorf("withdraw %v said %+v, and %d more; want %s alone", ids, got, len(said), today.ID)
		}
	}
}

// What is listed tells the time of the site, which its reasons tell, wherever the
// person sits who reads it.
func TestListInTheTimeOfTheSite(t *testing.T) {
	zone, err := time.LoadLocation("Asia/Tokyo")
	if err != nil {
		t.Skip("no time zones here:", err)
	}
	at := time.Date(2026, 5, 4, 21, 30, 0, 0, time.UTC)
	a := &wire.Advice{ID: "x", Site: "north", Zone: "bench-1", Action: advice.Irrigate, ValidFrom: at, ValidUntil: at.Add(24 * time.Hour),
		Setpoints: &wire.Setpoints{FirstShotAt: at, LastShotBy: at.Add(6 * time.Hour), ShotVolumeML: 100},
		Approval:  wire.Approval{Required: true, State: policy.StatePending, DecideBy: at.Add(-time.Hour)}}
	before := &wire.Setpoint{Advice: "w", ValidFrom: at.Add(-24 * time.Hour), Setpoints: &wire.Setpoints{FirstShotAt: at.Add(-23 * time.Hour), ShotVolumeML: 100}}
	var out bytes.Buffer
	console := Console{Out: &out, Times: map[string]*time.Location{"north": zone}}
	if err := console.table([]standing{{advice: a}}); err != nil {
		t.Fatal(err)
	}
	console.describe(standing{advice: a, inForce: before}, true)
	for _, want := range []string{"5 May 06:30 JST", "decide by 05:30 JST", "from 06:30 to 12:30", "4 May 07:30"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing in\n%s", want, out.String())
		}
	}
}
