package service

import (
	"fmt"
	"rhizostat/service/wire"
	"strings"
	"testing"
	"time"
)

// An event that names what the zone's site file does not have is refused, says what
// there is, and is not on record as something that was done.
func TestEventsOfWhatIsNotThere(t *testing.T) {
	for _, test := range []struct {
		event  string // without who
		reason string // "" for one that is taken
		says   string
	}{
		{`"kind":"container-changed","container":"pot-99"`, "unknown-container", `no container "pot-99"; expected one of pot-7l;`},
		{`"kind":"transplanted","container":"pot-7l","substrate":"moon dust"`, "unknown-substrate", `no substrate "moon dust"; expected one of `},
		{`"kind":"substrate-changed","substrate":"coir-mix-2"`, "unknown-substrate", "coir-mix, "},
		{`"kind":"probe-moved","probe":"p3","height_cm":5`, "unknown-probe", `no probe "p3"; expected one of p1, p2;`},
		{`"kind":"container-changed","container":"pot-7l"`, "", ""},
		{`"kind":"container-changed"`, "", ""},
		{`"kind":"transplanted","substrate":"coir-mix"`, "", ""},
		{`"kind":"transplanted","substrate":"stone-wool"`, "", ""},
		{`"kind":"probe-moved","probe":"p2","height_cm":5`, "", ""},
		{`"kind":"shoots-pruned","probe":"p3"`, "", ""}, // nothing is done with it
	} {
		s := newStill(t)
		s.tell(0, 10*time.Minute)
		at := s.workers[0].now
		payload := fmt.Sprintf(`{"by":"anna",%s}`, test.event)
		_, reason, err := s.workers[0].event([]byte(payload))
		if string(reason) != test.reason || err != nil && !strings.Contains(err.Error(), test.says) {
			t.Errorf("%s: %s (%v), want %q and %q", test.event, reason, err, test.reason, test.says)
			continue
		}
		s.happened(t, payload, at)
		rows, err := s.ledger.Events(t.Context(), "north", bench(0), time.Time{}, farFuture)
		if err != nil {
			t.Fatal(err)
		}
		if taken := len(rows) == 1; taken != (test.reason == "") {
			t.Errorf("%s: %d events on record", test.event, len(rows))
		}
		if test.reason != "" && s.refused(t, test.reason) != 1 {
			t.Errorf("%s: was not counted as %s", test.event, test.reason)
		}
	}
}

// The account of water reaches a day back, and nothing that was done a month ago has a
// bearing; nor is anything taken that is still to come.
func TestEventsToldLate(t *testing.T) {
	for _, test := range []struct {
		event  string
		reason string
	}{
		{`"time":"2026-05-03T07:09:59Z","kind":"watered-by-hand","volume_ml":500`, "late"},
		{`"time":1,"kind":"watered-by-hand","volume_ml":500`, "late"},
		{`"time":"2026-05-03T07:10:00Z","kind":"watered-by-hand","volume_ml":500`, ""},
		{`"time":"2026-05-04T07:05:00Z","kind":"watered-by-hand","volume_ml":500`, ""},
		{`"kind":"watered-by-hand","volume_ml":500`, ""}, // it has its arrival's
		{`"time":"2026-05-01T07:00:00Z","kind":"shoots-pruned"`, ""},
		{`"time":"2026-04-06T07:10:01Z","kind":"transplanted"`, ""},
		{`"time":"2026-04-06T07:09:59Z","kind":"transplanted"`, "late"},
		{`"time":1,"kind":"roots-disturbed"`, "late"},
		{`"time":"2026-05-04T08:09:00Z","kind":"roots-disturbed"`, ""}, // a clock that is ahead
		{`"time":"2026-05-04T08:11:00Z","kind":"roots-disturbed"`, "from-the-future"},
		{`"time":"2027-05-04T07:00:00Z","kind":"watered-by-hand","volume_ml":500`, "from-the-future"},
	} {
		s := newStill(t)
		s.tell(0, 10*time.Minute)
		payload := fmt.Sprintf(`{"by":"anna",%s}`, test.event)
		_, reason, err := s.workers[0].event([]byte(payload))
		if string(reason) != test.reason || err != nil && !strings.Contains(err.Error(), map[string]string{"late": " h before it", "from-the-future": "happened already"}[test.reason]) {
			t.Errorf("%s: %q (%v), want %q", test.event, reason, err, test.reason)
			continue
		}
		s.happened(t, payload, time.Now()) // a machine's clock is not the zone's
		if test.reason != "" && s.refused(t, test.reason) != 1 {
			t.Errorf("%s: was not counted as %s", test.event, test.reason)
		}
	}
}

// What probes measured in the old container and what reached the zone after the new one was told
// is not taken, and counted.
func TestLateReadingsOfTheOldContainerAreCounted(t *testing.T) {
	s := newStill(t)
	s.tell(0, 35*time.Minute)
	topics := wire.Topics{Root: "rhizostat", Site: "north"}
	s.receive(topics.Telemetry(bench(0), "p1"), reading(0, 0, 40*time.Minute), morning.Add(40*time.Minute))
	s.happened(t, fmt.Sprintf(`{"time":%q,"kind":"transplanted","by":"anna"}`, morning.Add(40*time.Minute+30*time.Second).Format(time.RFC3339)), morning.Add(41*time.Minute))
	s.receive(topics.Telemetry(bench(0), "p2"), reading(0, 1, 38*time.Minute), morning.Add(42*time.Minute))
	s.tell(45*time.Minute, 60*time.Minute)
	if n := s.refused(t, "old-container"); n != 1 {
		t.Errorf("%d readings of the old container are counted; one came late", n)
	}
}
