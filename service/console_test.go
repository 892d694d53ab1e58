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
		d := Decide{Console: console, Verdict: wire.Withdraw, Advice: ids, By: "you", Wait: time.Minute}
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
	s := standing{advice: a, inForce: before}
	s.before = s.shown()
	console.describe(s, true)
	for _, want := range []string{"5 May 06:30 JST", "decide by 05:30 JST", "from 06:30 to 12:30", "4 May 07:30"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing in\n%s", want, out.String())
		}
	}
}

// What a person approves is printed whole: the schedule, what is aimed at, what a
// probe would read, and what is expected.
func TestDetailIsWhatIsApproved(t *testing.T) {
	at := time.Date(2026, 5, 4, 8, 40, 0, 0, time.UTC)
	drain := 0.12
	shots := []wire.Shot{{At: at, VolumeML: 150}, {At: at.Add(85 * time.Minute), VolumeML: 150}}
	tests := []struct {
		name      string
		setpoints wire.Setpoints
		want      []string
		not       string
	}{
		{"alike", wire.Setpoints{FirstShotAt: at, LastShotBy: at.Add(2 * time.Hour), ShotVolumeML: 150, RunTimeS: 270, MinIntervalS: 1200, MaxVolumeML: 1650, DrainFraction: &drain, Schedule: shots,
			TriggerWaterContent: 0.52, TargetWaterContent: 0.6, TriggerByProbe: wire.ProbeNumbers{{Probe: "p1", Value: 0.55}}},
			[]string{"2 shots of 150 mL (270 s) from 08:40 to 10:40 UTC, at least 20 min apart, at most 1650 mL on the day\n", "by clock: 08:40, 10:05\n",
				"trigger 0.520, target 0.600 m3/m3; read by a probe itself: p1 0.550\n", "drain fraction aimed at: 0.12\n"}, "(0 s)"},
		{"one, run time not known", wire.Setpoints{FirstShotAt: at, ShotVolumeML: 150, Schedule: shots[:1]}, []string{"1 shot of 150 mL from", "by clock: 08:40\n"}, "(0 s)"},
		{"they differ", wire.Setpoints{FirstShotAt: at, ShotVolumeML: 150, Schedule: []wire.Shot{shots[0], {At: at.Add(time.Hour), VolumeML: 90}}}, []string{"by clock: 08:40 150 mL, 09:40 90 mL\n"}, "drain fraction"},
		{"withhold", wire.Setpoints{TriggerWaterContent: 0.4}, []string{"no water until the day ends or the water content falls to its trigger 0.400 m3/m3\n"}, "by clock"},
	}
	for _, tt := range tests {
		var out bytes.Buffer
		console := Console{Out: &out, Times: map[string]*time.Location{"north": time.UTC}}
		a := &wire.Advice{ID: "x", Site: "north", Zone: "z", Setpoints: &tt.setpoints, Expected: &wire.Expected{PeakWaterContent: 0.61, TroughWaterContent: 0.49, OvernightDryback: 0.12, DrainML: 180, UptakeML: 1310, SaturationS: 5400}}
		console.describe(standing{advice: a}, false)
		for _, want := range append(tt.want, "expected: peak 0.610, trough 0.490, overnight dryback 0.120 m3/m3, uptake 1310 mL, drain 180 mL, saturated for 1.5 h\n") {
			if !strings.Contains(out.String(), want) {
				t.Errorf("%s: %q is missing in\n%s", tt.name, want, out.String())
			}
		}
		if strings.Contains(out.String(), tt.not) {
			t.Errorf("%s: %q is in\n%s", tt.name, tt.not, out.String())
		}
	}
}

// An advice is compared with the one before it, also when it is in force itself; the
// broker alone does not show that, and then it is said.
func TestAgainstTheOneBefore(t *testing.T) {
	at := time.Date(2026, 5, 4, 8, 40, 0, 0, time.UTC)
	made := func(id string, state policy.ApprovalState, ml int) *wire.Advice {
		a := &wire.Advice{ID: id, Site: "north", Zone: "z", Action: advice.Irrigate, ValidFrom: at, ValidUntil: at.Add(24 * time.Hour), Approval: wire.Approval{Required: true, State: state}}
		if ml > 0 {
			a.Setpoints = &wire.Setpoints{FirstShotAt: at, ShotVolumeML: ml, Schedule: []wire.Shot{{At: at, VolumeML: ml}}}
		}
		return a
	}
	now := made("03", policy.StateApproved, 150)
	own := &wire.Setpoint{Advice: "03", Setpoints: now.Setpoints}
	other := &wire.Setpoint{Advice: "01", Action: advice.Irrigate, Setpoints: made("01", policy.StateApproved, 90).Setpoints}
	inspect := made("02", "", 0)
	tests := []struct {
		name    string
		inForce *wire.Setpoint
		ledger  []*wire.Advice // that there are, nil: no ledger
		want    string
		change  string
	}{
		{"in force, no ledger", own, nil, "it is in force itself, and the broker no longer shows the one before", "none known"},
		{"another in force, no ledger", other, nil, "against the advice before it, 01 (the one in force)", "+60 mL"},
		{"nothing in force, no ledger", nil, nil, "the broker shows none before it; --ledger", "none known"},
		{"a ledger", own, []*wire.Advice{made("01", policy.StateExpired, 100), now}, "against the advice before it, 01 (expired)", "+50 mL"},
		{"an inspect between", own, []*wire.Advice{made("01", policy.StateRejected, 100), inspect, now}, "01 (rejected)", "+50 mL"},
		{"the first", own, []*wire.Advice{inspect, now}, "there is none before it", "none known"},
		{"another daemon's ledger", other, []*wire.Advice{made("00", policy.StateExpired, 100)}, "01 (the one in force)", "+60 mL"},
	}
	for _, tt := range tests {
		var out bytes.Buffer
		console := Console{Out: &out, Times: map[string]*time.Location{"north": time.UTC}}
		s := standing{advice: now, inForce: tt.inForce}
		s.before = s.shown()
		s.recorded(tt.ledger)
		console.differences(&s)
		if !strings.Contains(out.String(), tt.want) || change(&s) != tt.change {
			t.Errorf("%s: %q is missing, or %q is not the change, in\n%s%s", tt.name, tt.want, tt.change, out.String(), change(&s))
		}
		if err := console.question([]standing{s}); err != nil {
			t.Fatal(err)
		}
		if arrow := strings.Contains(out.String(), "-> 150"); arrow != (s.before.setpoints != nil) {
			t.Errorf("%s: the question is\n%s", tt.name, out.String())
		}
	}
}

// The clock that times are told in is named.
func TestTheClockIsNamed(t *testing.T) {
	console := Console{Times: map[string]*time.Location{"north": time.UTC}}
	north, south := standing{advice: &wire.Advice{Site: "north"}}, standing{advice: &wire.Advice{Site: "south"}}
	if got := console.clocks([]standing{north, north}); got != "times: north in UTC" {
		t.Error(got)
	}
	if got := console.clocks([]standing{north, south}); !strings.Contains(got, "north in UTC; south in this machine's zone (") || !strings.Contains(got, "--sites names its file") {
		t.Error(got)
	}
}

// Whoever decides on what is not there is told of the zone that was meant, and of
// how it stands.
func TestNothingToDecideOn(t *testing.T) {
	stands := func(zone string, state policy.ApprovalState) standing {
		return standing{advice: &wire.Advice{ID: "id-" + zone, Site: "north", Zone: zone, Approval: wire.Approval{Required: state != "", State: state}}}
	}
	all := []standing{stands("a", policy.StateExpired), stands("b", policy.StatePending), stands("c", ""), stands("d", policy.StatePending)}
	tests := []struct {
		verdict wire.Verdict
		zones   []string
		want    string
	}{
		{wire.Approve, []string{"a"}, "no advice of zone a waits to be approved (it is expired)"},
		{wire.Reject, []string{"a"}, "no advice of zone a waits to be rejected (it is expired)"},
		{wire.Approve, []string{"c"}, "no advice of zone c waits to be approved (it is an inspect, which nobody approves)"},
		{wire.Withdraw, []string{"b"}, "no advice of zone b is approved, so that it could be withdrawn (it is pending)"},
		{wire.Approve, []string{"a", "c"}, "no advice under rhizostat/+ waits to be approved (a is expired, c is an inspect, which nobody approves)"},
		{wire.Approve, []string{"nosuch"}, "there is no zone nosuch under rhizostat/+ that has an advice; there are a, b, c, d"},
		{wire.Approve, nil, "approve can be said of 2: north/b id-b, north/d id-d; name one with --zone, or all of them with --all-pending"},
		{wire.Reject, []string{"b", "d"}, "reject can be said of 2: north/b id-b, north/d id-d; name them by their ids, or say --all-pending to reject all that these zones have"},
	}
	for _, tt := range tests {
		d := Decide{Console: Console{Root: "rhizostat", Zones: tt.zones}, Verdict: tt.verdict}
		err := d.missing(all)
		if err == nil {
			var named []standing
			for _, s := range all {
				if d.wants(s.advice.Zone) {
					named = append(named, s)
				}
			}
			_, err = d.choose(named)
		}
		if err == nil || !strings.HasPrefix(err.Error(), tt.want) {
			t.Errorf("%s %v: %v\nwant %s", tt.verdict, tt.zones, err, tt.want)
		}
	}
}

// A zone that does not answer keeps no other from its decision.
func TestSilenceOfOneZone(t *testing.T) {
	t.Parallel()
	const wait = 20 * time.Second // time enough for those that answer
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	for _, zone := range []string{"a", "b", "c"} {
		payload, err := (&wire.Advice{ID: "id-" + zone, Site: "north", Zone: zone, Setpoints: &wire.Setpoints{}, Approval: wire.Approval{Required: true, State: policy.StatePending, Digest: "sha-256:" + strings.Repeat("0", 64)}}).Marshal()
		if err != nil {
			t.Fatal(err)
		}
		if err := b.Publish(topics.Advice(zone), payload, true); err != nil {
			t.Fatal(err)
		}
	}
	err := b.Subscribe(topics.Decision("+"), func(topic string, payload []byte) {
		d, err := wire.ParseDecision(payload)
		if err != nil || d.Advice == "id-a" {
			return
		}
		answer, err := wire.Accept(d, time.Now()).Marshal()
		if err != nil {
			t.Error(err)
		}
		if err := b.Publish(topics.DecisionResult(strings.TrimPrefix(d.Advice, "id-")), answer, false); err != nil {
			t.Error(err)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	d := Decide{Console: Console{Link: link.Settings{Broker: "tcp://" + b.Address, ClientID: "you"}, Root: "rhizostat", Out: &out},
		Verdict: wire.Approve, AllPending: true, Yes: true, By: "you", Wait: wait}
	err = d.Do(t.Context())
	if err == nil || !strings.HasPrefix(err.Error(), "north/a: no answer within "+wait.String()) || !strings.Contains(out.String(), "north/b: approve accepted") || !strings.Contains(out.String(), "north/c: approve accepted") {
		t.Errorf("%v\n%s", err, out.String())
	}
}

// Two people decide on one advice at once: each is told what became of their own word.
func TestAnswersToOthers(t *testing.T) {
	b := newBroker(t)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	payload, err := (&wire.Advice{ID: "id-a", Site: "north", Zone: "a", Setpoints: &wire.Setpoints{}, Approval: wire.Approval{Required: true, State: policy.StatePending, Digest: "sha-256:" + strings.Repeat("0", 64)}}).Marshal()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Publish(topics.Advice("a"), payload, true); err != nil {
		t.Fatal(err)
	}
	say := func(r wire.Result) {
		answer, err := r.Marshal()
		if err != nil {
			t.Error(err)
			return
		}
		if err := b.Publish(topics.DecisionResult("a"), answer, false); err != nil {
			t.Error(err)
		}
	}
	err = b.Subscribe(topics.Decision("+"), func(_ string, payload []byte) {
		d, err := wire.ParseDecision(payload)
		if err != nil {
			t.Error(err)
			return
		}
		theirs := d
		theirs.By, theirs.Decision = "somebody else", wire.Approve
		say(wire.Accept(theirs, time.Now()))
		say(wire.Refuse(wire.Decision{}, advice.Refuse("malformed-unreadable", advice.Name("somebody's message")), time.Now()))
		say(wire.Refuse(d, advice.Reason{Code: "not-pending", Text: "it was approved just now"}, time.Now()))
	})
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	d := Decide{Console: Console{Link: link.Settings{Broker: "tcp://" + b.Address, ClientID: "you"}, Root: "rhizostat", Out: &out},
		Verdict: wire.Reject, Advice: []string{"id-a"}, Yes: true, By: "you", Wait: time.Minute}
	if err := d.Do(t.Context()); err == nil || !strings.Contains(out.String(), "not-pending") || strings.Contains(out.String(), "accepted") {
		t.Errorf("%v\n%s\nexpected the refusal of one's own word", err, out.String())
	}
}
