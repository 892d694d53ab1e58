package report

import (
	"strings"
	"testing"
	"time"
)

// A probe that is not believed is drawn so, and the table says for how long and why.
func TestIllness(t *testing.T) {
	s := bench("bench-07")
	c := NewCollector(s)
	from := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	for i := range 72 { // six hours
		now := from.Add(time.Duration(i) * 5 * time.Minute)
		health := "ok"
		switch {
		case i >= 12 && i < 24:
			health = "stuck"
		case i >= 24 && i < 30:
			health = "disagreeing"
		case i == 40:
			continue
		case i > 60 && i < 70: // silent, and nothing was heard of the zone
			continue
		case i >= 60:
			health = "stuck"
		}
		c.Sample(Sample{At: now, WaterContent: 0.55, FullPoint: 0.6, RefillPoint: 0.5})
		c.Probe(now, ProbeReading{ID: "p1", At: now, WaterContent: 0.55, Health: health})
		c.Probe(now, ProbeReading{ID: "p2", At: now, WaterContent: 0.56, Health: "ok"})
	}
	c.Mark(Mark{from.Add(time.Hour), Inspect, "Look at probe p1 first."})
	d := c.Days(time.Time{}, time.Time{})
	ill := d.Probes[0].Ill
	if len(ill) != 4 || ill[0].From != from.Add(time.Hour) || ill[0].To != from.Add(2*time.Hour) || ill[1].Health != "disagreeing" || ill[1].To != from.Add(150*time.Minute) || len(d.Probes[1].Ill) != 0 {
		t.Fatalf("%+v", ill)
	}
	if hours := ill[2].To.Sub(ill[2].From); hours != 0 {
		t.Errorf("it was ill for %s in which nothing is known of it", hours)
	}
	var table, picture strings.Builder
	if err := d.Table(&table); err != nil {
		t.Fatal(err)
	}
	if err := d.SVG(&picture); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"\nprobe p1 was not believed: stuck 1.1 h, disagreeing 0.5 h\n", "inspect     Look at probe p1 first.\n"} {
		if !strings.Contains(table.String(), want) {
			t.Errorf("the table lacks %q:\n%s", want, table.String())
		}
	}
	if strings.Contains(table.String(), "p2") {
		t.Errorf("p2 was always believed:\n%s", table.String())
	}
	for _, want := range []string{"probe not believed", "probe p1 stuck from 4 May 09:00 to 4 May 10:00", ">inspect<", "inspect Look at probe p1 first."} {
		if !strings.Contains(picture.String(), want) {
			t.Errorf("the picture lacks %q", want)
		}
	}
	// Days in which it was well do not tell of it.
	well := c.Days(from.Add(3*time.Hour), from.Add(4*time.Hour))
	picture.Reset()
	if err := well.SVG(&picture); err != nil || strings.Contains(picture.String(), "not believed") {
		t.Errorf("the picture of days in which it was well tells that it was not (%v)", err)
	}
}
